package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"propwright/checklist/reach"
	"propwright/checklist/reach/field"
	"propwright/parsers"
)

const rangeFieldLong = `field works out from a coil's size, turns and current how far the field on its axis
feeds a card (ISO/IEC 14443-2), what a metal plate behind it takes away, and what more
receiver gain would add. It is a model, not a measurement: nothing detuned, nothing
off the axis. FILE is TOML with radius_mm, or width_mm and height_mm, turns and
current_ma, and where known plate_mm, gain_db and least_a_per_m. As coil.toml in a
site's folder it stands beside what the range steps measure.`

func newRangeFieldCmd(d deps) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:     "field FILE.toml",
		Short:   "What range a coil's geometry allows, by a model",
		Long:    rangeFieldLong,
		Example: "  propwright range field coil.toml",
		Args:    checkArgs(cobra.ExactArgs(1)),
		RunE:    func(_ *cobra.Command, args []string) error { return runRangeField(d, args[0], asJSON) },
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

// A fieldView is what the model says.
type fieldView struct {
	Model      bool         `json:"model"` // always true: nothing here was measured
	Inputs     string       `json:"inputs"`
	AllowsMM   float64      `json:"allows_mm"`
	FreeMM     float64      `json:"allows_without_plate_mm"`
	StandsMM   float64      `json:"below_most_field_from_mm"` // closer, the field is above what a card must stand
	BestMM     float64      `json:"best_radius_mm"`           // of a round coil for allows_mm, at the same turns and current
	GainMM     *float64     `json:"with_most_gain_mm"`        // what two thirds of it would become; null where the gain is not known
	FieldAPerM []fieldPoint `json:"field"`
}

type fieldPoint struct {
	SpacingMM float64 `json:"spacing_mm"`
	APerM     float64 `json:"a_per_m"`
}

func runRangeField(d deps, file string, asJSON bool) error {
	text, err := readIfThere("coil", file)
	if err == nil && text == nil {
		err = toolError{what: fmt.Sprintf("read %q", file), err: errors.New("no such file"), try: "a TOML file with " + tryCoil}
	}
	if err != nil {
		return err
	}
	p, err := reach.ParseCoil(parsers.Printable(file), text)
	if err != nil {
		return toolError{err: err, try: tryCoil}
	}
	v := viewField(p)
	if asJSON {
		return printJSON(d.out, v)
	}
	if _, err := io.WriteString(d.out, v.text(p)); err != nil {
		return fmt.Errorf("%w: %w", errPipeClosed, err)
	}
	return nil
}

func viewField(p reach.CoilPlan) fieldView {
	free := p
	free.PlateMM = 0
	behind := p.PlateMM / 1000
	v := fieldView{
		Model: true, Inputs: p.Inputs(), AllowsMM: p.AllowsMM(), FreeMM: free.AllowsMM(),
		StandsMM: 1000 * p.Coil.ReachTo(field.MostField, behind), BestMM: 1000 * field.BestRadius(p.AllowsMM()/1000),
	}
	if p.GainDB > 0 && v.AllowsMM > 0 {
		more := 1000 * p.Coil.WithGain(v.AllowsMM*2/3000, p.MostDB-p.GainDB, v.AllowsMM/1000, behind)
		v.GainMM = &more
	}
	for mm := 0.0; mm <= 50; mm += 5 {
		at := p.Coil.OnAxis(mm / 1000)
		if p.PlateMM > 0 {
			at = p.Coil.BeforePlate(mm/1000, behind)
		}
		v.FieldAPerM = append(v.FieldAPerM, fieldPoint{mm, at})
	}
	return v
}

// text says it in words, with the field as bars.
func (v fieldView) text(p reach.CoilPlan) string {
	var b strings.Builder
	row := func(name, format string, args ...any) {
		fmt.Fprintf(&b, "%-9s "+format+"\n", append([]any{name}, args...)...)
	}
	row("model", "not measured: %s", v.Inputs)
	if v.AllowsMM > 0 {
		row("allows", "%s mm on the axis, where the field falls to %g A/m", tenths(v.AllowsMM), p.LeastAPM)
		row("best", "a round coil of radius %s mm would give most there, at the same turns and current", tenths(v.BestMM))
	} else {
		row("allows", "nothing: the field never reaches %g A/m", p.LeastAPM)
	}
	if p.PlateMM > 0 {
		row("plate", "without it %s mm; it also detunes the coil, which takes away more", tenths(v.FreeMM))
	}
	if v.StandsMM > 0 {
		row("strong", "closer than %s mm the field is above %g A/m, which is as much as a card must stand: large cards can drop out there", tenths(v.StandsMM), field.MostField)
	}
	if v.GainMM != nil {
		row("gain", "from %g to %g dB: a card heard to %s mm now would be heard to %s mm at most; far off the answer falls with the sixth power of the distance, gain raises the noise with it, and it feeds no card", p.GainDB, p.MostDB, tenths(v.AllowsMM*2/3), tenths(*v.GainMM))
	}
	most := p.LeastAPM
	for _, f := range v.FieldAPerM {
		most = max(most, f.APerM)
	}
	b.WriteString("\n   mm     A/m\n")
	for _, f := range v.FieldAPerM {
		fmt.Fprintf(&b, "%5.0f %7.2f  %s\n", f.SpacingMM, f.APerM, strings.Repeat("#", int(50*max(0, f.APerM)/most+0.5)))
	}
	return b.String()
}
