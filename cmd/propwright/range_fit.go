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
spacing_mm, presented, read. How far off the spacings may be, all of them alike, joins
the intervals: by --tolerance, or by a column tolerance_mm where it differs, such as for
stacks of cards.`

type rangeFitOptions struct {
	asJSON    bool
	curve     string
	tolerance float64 // of each spacing, plus or minus, in millimetres
}

func newRangeFitCmd(d deps) *cobra.Command {
	var o rangeFitOptions
	cmd := &cobra.Command{
		Use:     "fit FILE.csv",
		Short:   "Estimate a read range from recorded trials",
		Long:    rangeFitLong,
		Example: "  propwright range fit trials.csv\n  propwright range fit trials.csv --json\n  propwright range fit trials.csv --tolerance 0.6",
		Args:    checkArgs(cobra.ExactArgs(1)),
		RunE:    func(_ *cobra.Command, args []string) error { return runRangeFit(d, o, args[0]) },
	}
	cmd.Flags().BoolVar(&o.asJSON, "json", false, "print JSON")
	cmd.Flags().StringVar(&o.curve, "curve", estimate.Logit.String(), "the curve to fit: logistic or probit")
	cmd.Flags().Float64Var(&o.tolerance, "tolerance", 0, "how far off each spacing may be, plus or minus, all alike, in mm")
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
	// Of the spacings at r50 and r95, plus or minus; null where none was given.
	R50Tolerance *float64 `json:"r50_tolerance_mm"`
	R95Tolerance *float64 `json:"r95_tolerance_mm"`
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
	if !(o.tolerance >= 0 && o.tolerance <= mostTolerance) {
		return hintedError{usageError{fmt.Errorf("tolerance %g: must be 0 to %d mm", o.tolerance, mostTolerance)}, "propwright range fit --help"}
	}
	trials, err := readTrialsFile(d, file)
	if err != nil {
		return err
	}
	f := fitted{Range: estimate.RangeOf(trials.Counts, link)}
	switch {
	case o.tolerance > 0 && trials.Tolerances != nil:
		return hintedError{usageError{fmt.Errorf("tolerance %g: the file has a column tolerance_mm as well", o.tolerance)}, "one of the two"}
	case o.tolerance > 0:
		f.widen(func(float64) float64 { return o.tolerance })
	case trials.Tolerances != nil:
		f.widen(reach.ToleranceBetween(trials.Tolerances))
	}
	if o.asJSON {
		return printJSON(d.out, f.view())
	}
	if _, err := io.WriteString(d.out, rangeText(f)); err != nil {
		return fmt.Errorf("%w: %w", errPipeClosed, err)
	}
	return nil
}

// mostTolerance bounds the tolerance of a spacing, in millimetres.
const mostTolerance = 100

// A fitted range is an estimate with the tolerance of its spacings, if one was given.
type fitted struct {
	estimate.Range
	r50, r95 *float64
}

// widen brings the tolerance into the intervals.
func (f *fitted) widen(tolerance func(mm float64) float64) {
	at := func(of estimate.Figure) *float64 {
		for _, mm := range []*float64{of.Value, of.Low, of.High} {
			if mm != nil {
				v := tolerance(max(0, *mm))
				return &v
			}
		}
		return nil
	}
	f.r50, f.r95 = at(f.R50), at(f.R95)
	f.R50, f.R95 = reach.Widen(f.R50, tolerance), reach.Widen(f.R95, tolerance)
	if f.r50 != nil || f.r95 != nil {
		f.Method += "; the spacings' tolerance, all off alike, joined by the root of the sum of squares (JCGM 100, 4.3.7)"
	}
}

func (f fitted) view() rangeFitView {
	v := rangeFitView{
		R50: f.R50.Value, R50Low: f.R50.Low, R50High: f.R50.High, R95: f.R95.Value, R95Low: f.R95.Low, R95High: f.R95.High,
		Method: f.Method, Warnings: list(f.Warnings), R50Tolerance: f.r50, R95Tolerance: f.r95,
	}
	for _, p := range f.Pools {
		v.Presented += p.Presented
		v.Spacings += len(p.Counts)
	}
	return v
}

// readTrialsFile reads the trials of a file, or of standard input for "-".
func readTrialsFile(d deps, file string) (reach.Trials, error) {
	in := d.in
	if file != "-" {
		f, err := os.Open(file)
		if err != nil {
			return reach.Trials{}, toolError{what: fmt.Sprintf("read %q", file), err: withoutPath(err), try: "a file whose first line is spacing_mm,presented,read"}
		}
		defer f.Close()
		in = f
	}
	trials, err := reach.ReadTrials(in, parsers.Printable(file))
	if err == nil {
		return trials, nil
	}
	if bad, ok := errors.AsType[*reach.TrialsError](err); ok {
		bad.Err = withoutPath(bad.Err)
	}
	return reach.Trials{}, toolError{err: err, try: "a file with a line spacing_mm,presented,read and under it a line such as 20.5,10,7 for each spacing"}
}

// rangeText says an estimate in words and a picture.
func rangeText(r fitted) string {
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
	if r.r95 != nil {
		row("spacings", "up to %s mm off either way at r95, all alike", strconv.FormatFloat(*r.r95, 'g', 3, 64))
	}
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
		fmt.Fprintf(&b, "\n%s", reach.Plot(reach.Picture(r.Range)))
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
