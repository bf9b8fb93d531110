package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"propwright/checklist/reach"
	"propwright/parsers"
)

const rangeMapLong = `map reads how often a tag was read at offsets from the reader's middle, all at one
spacing, and says where to put the tag's target and how far off it may land. The file's
first line names its columns: x_mm, y_mm, presented, read. With --svg the map comes out
as a picture that can be read in grey print.`

type rangeMapOptions struct{ asJSON, asSVG bool }

func newRangeMapCmd(d deps) *cobra.Command {
	var o rangeMapOptions
	cmd := &cobra.Command{
		Use:     "map FILE.csv",
		Short:   "Where to put a tag's target, from recorded trials beside the middle",
		Long:    rangeMapLong,
		Example: "  propwright range map offsets.csv\n  propwright range map offsets.csv --svg > map.svg",
		Args:    checkArgs(cobra.ExactArgs(1)),
		RunE:    func(_ *cobra.Command, args []string) error { return runRangeMap(d, o, args[0]) },
	}
	cmd.Flags().BoolVar(&o.asJSON, "json", false, "print JSON")
	cmd.Flags().BoolVar(&o.asSVG, "svg", false, "print the map as an SVG picture")
	return cmd
}

// A rangeMapView is what a map says.
type rangeMapView struct {
	Target  *reach.Target  `json:"target"` // null where no place was read every time
	Offsets []reach.Offset `json:"offsets"`
}

func runRangeMap(d deps, o rangeMapOptions, file string) error {
	if o.asJSON && o.asSVG {
		return hintedError{usageError{errors.New("map: both --json and --svg")}, "propwright range map --help"}
	}
	offsets, err := readOffsetsFile(file)
	if err != nil {
		return err
	}
	v := rangeMapView{Offsets: offsets}
	if t, ok := reach.Best(offsets); ok {
		v.Target = &t
	}
	text := reach.HeatSVG(offsets)
	switch {
	case o.asJSON:
		return printJSON(d.out, v)
	case !o.asSVG:
		text = v.text()
	}
	if _, err := io.WriteString(d.out, text); err != nil {
		return fmt.Errorf("%w: %w", errPipeClosed, err)
	}
	return nil
}

func readOffsetsFile(file string) ([]reach.Offset, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, toolError{what: fmt.Sprintf("read %q", file), err: withoutPath(err), try: "a file whose first line is x_mm,y_mm,presented,read"}
	}
	defer f.Close()
	offsets, err := reach.ReadOffsets(f, parsers.Printable(file))
	if bad, ok := errors.AsType[*reach.TrialsError](err); ok {
		bad.Err = withoutPath(bad.Err)
	}
	if err != nil {
		return nil, toolError{err: err, try: "a file with a line x_mm,y_mm,presented,read and under it a line such as -10,5,4,3 for each place"}
	}
	return offsets, nil
}

func (v rangeMapView) text() string {
	text := "target    none: no place was read every time\n"
	if t := v.Target; t != nil {
		off := "read every time closer than that"
		if t.Edge {
			off = "as far as was tried; it may be more"
		}
		text = fmt.Sprintf("target    %s mm right, %s mm up of the middle\nforgives  %s mm off, %s\n", tenths(t.XMM), tenths(t.YMM), tenths(t.RadiusMM), off)
	}
	return text + "\n" + reach.HeatText(v.Offsets)
}
