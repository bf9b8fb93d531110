package checklist_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist"
)

// The step ids and their sittings are those of the checklist's published guide, and at
// the bench the recovery of the link, which no controller in use is disturbed for.
func TestBuiltinProcedureHasEveryStepOfTheGuide(t *testing.T) {
	p, err := checklist.BuiltinProcedure("new")
	if err != nil {
		t.Fatal(err)
	}
	p = p.Of(checklist.Item{Readers: []checklist.Reader{{Coil: 117}}})
	for sitting, ids := range map[checklist.Sitting]string{
		checklist.Bench: "wiring attach settings reader-chip lights master programming cards removal range link recovery repeat clean-up sign-off",
		checklist.Site:  "range link repeat in-service clean-up sign-off",
	} {
		have := map[string]bool{}
		for _, s := range p.Sitting(sitting) {
			have[s.ID] = true
		}
		for _, id := range strings.Fields(ids) {
			if !have[id] {
				t.Errorf("sitting %s: step %q is missing", sitting, id)
			}
			delete(have, id)
		}
		if len(have) > 0 {
			t.Errorf("sitting %s: steps beyond the guide: %v", sitting, have)
		}
	}
	if _, err := checklist.BuiltinProcedure("nope"); err == nil {
		t.Error("a procedure that does not exist was found")
	}
}

// A board of several readers has a step for each where the step is each reader's
// own, and each of them rests on its own reader's steps.
func TestProcedureOfSeveralReaders(t *testing.T) {
	p, err := checklist.BuiltinProcedure("new")
	if err != nil {
		t.Fatal(err)
	}
	three := []checklist.Reader{{Index: 0, Coil: 117}, {Index: 1, Coil: 121}, {Index: 2, Coil: 122}}
	for lists, each := range map[string]string{
		checklist.ListsBoard:  "reader-chip removal range repeat",
		checklist.ListsReader: "reader-chip removal range repeat master programming cards clean-up",
	} {
		count := map[string][]int{}
		for _, s := range p.Of(checklist.Item{Readers: three, Board: checklist.BoardPlan{Lists: lists}}).Sitting(checklist.Bench) {
			count[s.ID] = append(count[s.ID], s.Reader)
		}
		for id, readers := range count {
			want := []int{0}
			if slices.Contains(strings.Fields(each), id) {
				want = []int{0, 1, 2}
			}
			if diff := cmp.Diff(want, readers); diff != "" {
				t.Errorf("lists %s, step %s: readers (-want +got):\n%s", lists, id, diff)
			}
		}
		if len(count["readers"]) != 1 {
			t.Errorf("lists %s: step readers stands there %d times, want once", lists, len(count["readers"]))
		}
	}
}

func TestParseProcedureNamesWhatIsWrong(t *testing.T) {
	const head = "name = \"x\"\n"
	const step = "[[step]]\nid = \"a\"\nsitting = \"bench\"\ncheck = \"sign-off\"\n"
	for name, tt := range map[string]struct{ text, want string }{
		"syntax":          {head + "for = \n", "p.toml:2"},
		"no name":         {step, "field name"},
		"no step":         {head, "no step"},
		"unknown field":   {head + step + "colour = \"red\"\n", "colour"},
		"no check":        {head + "[[step]]\nid = \"a\"\nsitting = \"bench\"\n", `step "a": field check`},
		"unknown sitting": {head + "[[step]]\nid = \"a\"\nsitting = \"moon\"\ncheck = \"c\"\n", `"moon" is neither`},
		"twice":           {head + step + step, `step "a": twice`},
		"needs a later":   {head + step + "needs = [\"b\"]\n", `"b" is no earlier step`},
		"each what":       {head + step + "each_reader = \"often\"\n", `"often" is neither`},
		"rests on what":   {head + step + "rests_on = [\"luck\"]\n", `"luck" is none of`},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := checklist.ParseProcedure("p.toml", []byte(tt.text))
			if err == nil || !strings.Contains(err.Error(), tt.want) || !strings.Contains(err.Error(), "p.toml") {
				t.Errorf("ParseProcedure = %v; want an error that names p.toml and %q", err, tt.want)
			}
		})
	}
}

// sha256sum of the text "name = ..." below, from coreutils sha256sum.
func TestProcedureDigestIsThatOfItsText(t *testing.T) {
	p, err := checklist.ParseProcedure("p.toml", []byte("name = \"x\"\n[[step]]\nid = \"a\"\nsitting = \"bench\"\ncheck = \"sign-off\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	const want = "sha256:c36feddfd551309c38f0ac8eb21c1e6c380f54d8a66894a36706d071b1087eeb"
	if p.Digest != want {
		t.Errorf("Digest = %s, want %s", p.Digest, want)
	}
}

func FuzzParseProcedure(f *testing.F) {
	p, _ := checklist.BuiltinProcedure("new")
	f.Add(p.Text)
	f.Fuzz(func(t *testing.T, text []byte) {
		if p, err := checklist.ParseProcedure("p", text); err == nil && len(p.Steps) == 0 {
			t.Error("a procedure without steps was taken")
		}
	})
}
