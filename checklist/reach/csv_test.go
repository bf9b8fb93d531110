package reach_test

import (
	"errors"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist/reach"
	"propwright/checklist/reach/estimate"
)

func TestReadTrials(t *testing.T) {
	want := []estimate.Counts{{SpacingMM: 6.08, Presented: 14, Read: 14}, {SpacingMM: 20.5, Presented: 10, Read: 7}}
	for name, text := range map[string]string{
		"plain":                 "spacing_mm,presented,read\n6.08,14,14\n20.5,10,7\n",
		"other ends of line":    "spacing_mm,presented,read\r\n6.08,14,14\r\n20.5,10,7",
		"another order, beside": "who,read,Presented,SPACING_MM\nq,14,14,6.08\n\"r, s\",7,10,20.5\n",
		"mark, remarks, blanks": "\ufeff# one reader\nspacing_mm, presented, read\n\n6.08, 14, 14\n# far\n20.5 ,10,7\n",
	} {
		got, err := reach.ReadTrials(iotest.OneByteReader(strings.NewReader(text)), "t.csv")
		if diff := cmp.Diff(reach.Trials{Counts: want}, got); diff != "" || err != nil {
			t.Errorf("%s: %v (-want +got)\n%s", name, err, diff)
		}
	}
}

func TestABadFileOfTrialsIsNamedByLineAndColumn(t *testing.T) {
	const head = "spacing_mm,presented,read\n"
	for name, tt := range map[string]struct{ text, want string }{
		"empty":           {"", "t.csv: empty"},
		"remarks only":    {"# nothing\n", "t.csv: empty"},
		"no rows":         {head, "t.csv: no trials"},
		"no presentation": {head + "5,0,0\n", "t.csv: no trials"},
		"missing column":  {"spacing_mm,presented\n5,5\n", "t.csv:1: column read: missing"},
		"semicolons":      {"spacing_mm;presented;read\n5;5;5\n", "t.csv:1: column spacing_mm: missing"},
		"twice":           {"spacing_mm,read,presented,read\n", "t.csv:1: column read: there twice"},
		"negative":        {head + "5,5,5\n-3,5,5\n", `t.csv:3: column spacing_mm: "-3": must be 0 or more`},
		"not a number":    {head + "5 mm,5,5\n", `t.csv:2: column spacing_mm: "5 mm": not a number`},
		"NaN":             {head + "NaN,5,5\n", `t.csv:2: column spacing_mm: "NaN": not a number`},
		"infinite":        {head + "Inf,5,5\n", `t.csv:2: column spacing_mm: "Inf": must be 1000 or less`},
		"a share":         {head + "5,5,0.8\n", `t.csv:2: column read: "0.8": not a whole number`},
		"more read":       {head + "5,5,6\n", `t.csv:2: column read: "6": more than the 5 presented`},
		"read negative":   {head + "5,5,-1\n", `t.csv:2: column read: "-1": must be 0 to`},
		"empty cell":      {head + "5,,5\n", "t.csv:2: column presented: empty"},
		"short row":       {head + "\n5,5\n", "t.csv:3: column read: empty"},
		"tolerance below": {"spacing_mm,presented,read,tolerance_mm\n5,5,5,-0.1\n", `t.csv:2: column tolerance_mm: "-0.1": must be 0 or more`},
		"tolerance empty": {"spacing_mm,presented,read,tolerance_mm\n5,5,5,\n", "t.csv:2: column tolerance_mm: empty"},
		"tolerance twice": {"tolerance_mm,spacing_mm,presented,read,tolerance_mm\n", "t.csv:1: column tolerance_mm: there twice"},
		"broken quotes":   {head + "5,5,\"5\n", "t.csv:"},
	} {
		got, err := reach.ReadTrials(strings.NewReader(tt.text), "t.csv")
		if _, ok := errors.AsType[*reach.TrialsError](err); !ok || got.Counts != nil || !strings.HasPrefix(err.Error(), tt.want) {
			t.Errorf("%s: %v, %v; want an error that begins %q", name, got, err, tt.want)
		}
	}
	broken := errors.New("disk gone")
	for _, before := range []string{"", "sp", head, head + "5,5,5\n"} {
		r := iotest.DataErrReader(iotest.OneByteReader(strings.NewReader(before)))
		if _, err := reach.ReadTrials(&thenFail{r, broken}, "t.csv"); !errors.Is(err, broken) {
			t.Errorf("reader that fails after %q: %v; want its error", before, err)
		}
	}
}

// thenFail gives an error where its reader ends.
type thenFail struct {
	r   interface{ Read([]byte) (int, error) }
	err error
}

func (f *thenFail) Read(p []byte) (int, error) {
	n, err := f.r.Read(p)
	if err != nil {
		err = f.err
	}
	return n, err
}

func FuzzReadTrials(f *testing.F) {
	f.Add("spacing_mm,presented,read\n6.08,14,14\n20.5,10,7\n")
	f.Add("\ufeffread,spacing_mm,presented\r\n\"1\",2,3\r\n")
	f.Add("spacing_mm,presented,read\n-3,5,6\n")
	f.Fuzz(func(t *testing.T, text string) {
		counts, err := reach.ReadTrials(strings.NewReader(text), "t.csv")
		if err != nil {
			if counts.Counts != nil || strings.Contains(err.Error(), "\n") {
				t.Fatalf("%v, %q; want one line and nothing else", counts, err)
			}
			return
		}
		presented := 0
		for _, c := range counts.Counts {
			if !(c.SpacingMM >= 0) || c.Read < 0 || c.Read > c.Presented {
				t.Fatalf("took %+v", c)
			}
			presented += c.Presented
		}
		if presented == 0 {
			t.Fatal("took a file without trials")
		}
		if len(counts.Counts) < 50 {
			reach.Plot(reach.Picture(estimate.RangeOf(counts.Counts, estimate.Logit)))
		}
	})
}
