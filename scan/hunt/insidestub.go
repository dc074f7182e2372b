package hunt

const coChannelNext = ""
const coChannelCure = ""

func (e *examination) carriers() []Suspect   { return nil }
func (e *examination) underneath() []Suspect { return nil }
func (e *examination) impulses() []Suspect   { return nil }
