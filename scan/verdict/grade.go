package verdict

// GradeOf is the grade that a margin alone gives a present channel.
func GradeOf(marginDB float64) Grade { return gradeOf(marginDB) }
