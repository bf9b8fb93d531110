package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"propwright/checklist/reach"
	"propwright/checklist/reach/estimate"
	"propwright/parsers"
)

const rangeFitLong = `fit reads trials from a file, a line for each spacing with how often a tag was
presented there and how often it was read, and estimates the spacing that is read half
the time (r50) and 95 times in 100 (r95), each with its 95 % interval. What the trials
do not bound is said, and is null in JSON. The file's first line names its columns:
spacing_mm, presented, read.`

type rangeFitOptions struct {
	asJSON bool
	curve  string
}

func newRangeFitCmd(d deps) *cobra.Command {
	var o rangeFitOptions
	cmd := &cobra.Command{
		Use:     "fit FILE.csv",
		Short:   "Estimate a read range from recorded trials",
		Long:    rangeFitLong,
		Example: "  propwright range fit trials.csv\n  propwright range fit trials.csv --json",
		Args:    checkArgs(cobra.ExactArgs(1)),
		RunE:    func(_ *cobra.Command, args []string) error { return runRangeFit(d, o, args[0]) },
	}
	cmd.Flags().BoolVar(&o.asJSON, "json", false, "print JSON")
	cmd.Flags().StringVar(&o.curve, "curve", estimate.Logit.String(), "the curve to fit: logistic or probit")
	return cmd
}

// A rangeFitView is what a fit has to say; the first seven keys are the command
// contract's.
type rangeFitView struct {
	R50       *float64 `json:"r50_mm"`
	R50Low    *float64 `json:"r50_low_mm"`
	R50High   *float64 `json:"r50_high_mm"`
	R95       *float64 `json:"r95_mm"`
	R95Low    *float64 `json:"r95_low_mm"`
	R95High   *float64 `json:"r95_high_mm"`
	Method    string   `json:"method"`
	Presented int      `json:"presented"`
	Spacings  int      `json:"spacings"`
	Warnings  []string `json:"warnings"`
}

func runRangeFit(d deps, o rangeFitOptions, file string) error {
	link := estimate.Logit
	switch o.curve {
	case estimate.Logit.String():
	case estimate.Probit.String():
		link = estimate.Probit
	default:
		return hintedError{usageError{fmt.Errorf("curve %q: neither logistic nor probit", o.curve)}, "propwright range fit --help"}
	}
	counts, err := readTrialsFile(d, file)
	if err != nil {
		return err
	}
	r := estimate.RangeOf(counts, link)
	if o.asJSON {
		v := rangeFitView{
			R50: r.R50.Value, R50Low: r.R50.Low, R50High: r.R50.High, R95: r.R95.Value, R95Low: r.R95.Low, R95High: r.R95.High,
			Method: r.Method, Warnings: list(r.Warnings),
		}
		for _, p := range r.Pools {
			v.Presented += p.Presented
			v.Spacings += len(p.Counts)
		}
		return printJSON(d.out, v)
	}
	if _, err := io.WriteString(d.out, rangeText(r)); err != nil {
		return fmt.Errorf("%w: %w", errPipeClosed, err)
	}
	return nil
}

// readTrialsFile reads the trials of a file, or of standard input for "-".
func readTrialsFile(d deps, file string) ([]estimate.Counts, error) {
	in := d.in
	if file != "-" {
		f, err := os.Open(file)
		if err != nil {
			return nil, toolError{what: fmt.Sprintf("read %q", file), err: withoutPath(err), try: "a file whose first line is spacing_mm,presented,read"}
		}
		defer f.Close()
		in = f
	}
	counts, err := reach.ReadTrials(in, parsers.Printable(file))
	if err == nil {
		return counts, nil
	}
	if bad, ok := errors.AsType[*reach.TrialsError](err); ok {
		bad.Err = withoutPath(bad.Err)
	}
	return nil, toolError{err: err, try: "a file with a line spacing_mm,presented,read and under it a line such as 20.5,10,7 for each spacing"}
}

// rangeText says an estimate in words and a picture.
func rangeText(r estimate.Range) string {
	var b strings.Builder
	row := func(name, format string, args ...any) {
		fmt.Fprintf(&b, "%-9s "+format+"\n", append([]any{name}, args...)...)
	}
	n, spacings := 0, 0
	for _, p := range r.Pools {
		n += p.Presented
		spacings += len(p.Counts)
	}
	row("trials", "%s at %s", counted(n, "presentation"), counted(spacings, "spacing"))
	row("r50", "%s", figureText(r.R50))
	row("r95", "%s", figureText(r.R95))
	row("method", "%s", r.Method)
	if r.Curve != nil {
		var by []string
		for _, rate := range []float64{estimate.HalfRate, estimate.ReliableRate} {
			if mm, ok := estimate.FallingRange(r.Pools, rate); ok {
				by = append(by, fmt.Sprintf("r%g %s", 100*rate, tenths(mm)))
			}
		}
		if len(by) > 0 {
			row("no curve", "%s mm, if the rate only falls (isotonic)", strings.Join(by, ", "))
		}
	}
	for _, w := range r.Warnings {
		row("note", "%s", w)
	}
	if len(r.Pools) > 0 {
		fmt.Fprintf(&b, "\n%s", reach.Plot(reach.Picture(r)))
	}
	return b.String()
}

// counted is a number with its noun.
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// figureText is a figure with its interval.
func figureText(f estimate.Figure) string {
	value := "not bounded"
	if f.Value != nil {
		value = tenths(*f.Value) + " mm"
	}
	switch {
	case f.Low == nil && f.High == nil:
		return value + ", neither end of its 95 % interval is bounded"
	case f.Low == nil:
		return fmt.Sprintf("%s, %s mm at most (95 %%), lower end not bounded", value, tenths(*f.High))
	case f.High == nil:
		return fmt.Sprintf("%s, %s mm at least (95 %%), upper end not bounded", value, tenths(*f.Low))
	}
	return fmt.Sprintf("%s (%s to %s mm, 95 %%)", value, tenths(*f.Low), tenths(*f.High))
}

// tenths prints millimetres to a tenth, as no stack of spacers is known better.
func tenths(mm float64) string { return strconv.FormatFloat(mm, 'f', 1, 64) }
