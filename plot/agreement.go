package plot

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"rooftone/scan/bundle"
)

// Agreements writes what a set does on channels beside their verdicts, a line a
// channel. Margins come with their 95 % intervals.
func Agreements(w io.Writer, rows []bundle.Row, o TextOptions) error {
	sign := "+-"
	if o.UTF8 {
		sign = "±"
	}
	var b strings.Builder
	table := tabwriter.NewWriter(&b, 0, 8, 2, ' ', 0)
	fmt.Fprintln(table, " RF\tthe set\tverdict\tmargin\t")
	for _, r := range rows {
		margin := "-"
		if m := r.Margin; m != nil {
			margin = fmt.Sprintf("%+.1f %s %.1f dB", m.Value, sign, 1.96*m.Sigma)
		}
		fmt.Fprintf(table, "%3d\t%s\t%s\t%s\t%s\n", r.RFChannel, r.Fact, r.Verdict, margin, r.Agreement)
	}
	table.Flush() // to memory
	for line := range strings.Lines(b.String()) {
		if _, err := fmt.Fprintln(w, strings.TrimRight(line, " \n")); err != nil {
			return err
		}
	}
	return nil
}
