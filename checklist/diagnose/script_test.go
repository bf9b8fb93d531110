package diagnose_test

import (
	"slices"
	"strings"
	"testing"

	"propwright/checklist/diagnose"
)

// What a script's figures come to: a difference counts where Fisher's exact test, or that
// of two Poisson rates, gives it less than one chance in twenty. The probabilities are by
// hand: 0 against 8 of 10 has C(20,8)^-1 times two tails of 45 = 7.1e-4; 7 against 10 of
// 10 has 0.21; 0 against 6 events in equal times 2/64.
func TestScriptsAreJudgedByTheirCounts(t *testing.T) {
	k := knowledge(t, diagnose.LoadOptions{})
	versions := func(good, bad int) diagnose.Figures {
		return diagnose.Figures{Seconds: 60, Asked: good + bad, Starts: good + bad, Versions: map[string]int{"0x92": good, "0x00": bad}}
	}
	shown := func(read, of int) diagnose.Figures { return diagnose.Figures{Seconds: 60, Shown: of, Read: read} }
	started := func(f diagnose.Figures, more int) diagnose.Figures { f.Starts += more; return f }
	for name, tt := range map[string]struct {
		test  string
		heard []diagnose.Figures
		volts float64
		want  []string
		words string
	}{
		"joint opens when moved":           {"flex", []diagnose.Figures{versions(10, 0), versions(2, 8)}, 0, []string{"header-pressed=cured"}, "p = 0.00071"},
		"joint closes when pressed":        {"flex", []diagnose.Figures{versions(0, 10), versions(10, 0)}, 0, []string{"header-pressed=cured"}, "a contact comes and goes"},
		"little more":                      {"flex", []diagnose.Figures{versions(10, 0), versions(7, 3)}, 0, []string{"header-pressed=no-change"}, "p = 0.21"},
		"between":                          {"flex", []diagnose.Figures{versions(10, 0), versions(6, 4)}, 0, nil, "too little to tell"},
		"boots when moved":                 {"flex", []diagnose.Figures{versions(10, 0), started(versions(10, 0), 6)}, 0, []string{"header-pressed=cured"}, "p = 0.031"},
		"a board that says nothing":        {"flex", []diagnose.Figures{{Seconds: 60, Asked: 10}, {Seconds: 60, Asked: 10}}, 0, nil, "tells nothing of a contact"},
		"module cures":                     {"swap-module", []diagnose.Figures{versions(2, 8), versions(10, 0)}, 0, []string{"other-module=cured"}, "8 wrong of 10"},
		"module of another make cures":     {"swap-module", []diagnose.Figures{versions(2, 8), {Seconds: 60, Asked: 10, Versions: map[string]int{"0xB2": 10}}}, 0, []string{"other-module=cured"}, "0 of 10 after"},
		"module does not":                  {"swap-module", []diagnose.Figures{versions(2, 8), versions(2, 8)}, 0, []string{"other-module=no-change"}, "does not cure"},
		"tag cures":                        {"other-tag", []diagnose.Figures{shown(0, 10), shown(10, 10)}, 0, []string{"spare-tag=cured"}, "read 0 of 10 before, 10 of 10 after"},
		"tag, nothing failed":              {"other-tag", []diagnose.Figures{shown(10, 10), shown(10, 10)}, 0, nil, "nothing failed before"},
		"load restarts it":                 {"when", []diagnose.Figures{shown(8, 8), started(shown(8, 8), 6)}, 0, []string{"at-switching=at-load", "starts=at-load"}, "p = 0.031"},
		"load pulls the 5 V down":          {"when", []diagnose.Figures{shown(8, 8), started(shown(8, 8), 6)}, 4.31, []string{"at-switching=at-load", "starts=at-load", "board-supply=low"}, "4.31 V at the board, too low"},
		"load does nothing, voltage is up": {"when", []diagnose.Figures{shown(8, 8), shown(8, 8)}, 5.02, []string{"board-supply=good"}, "it tells little"},
	} {
		t.Run(name, func(t *testing.T) {
			test := k.Test(tt.test)
			s, ok := k.Script(test, nil)
			if !ok || len(s.Phases) != len(tt.heard) {
				t.Fatalf("script %+v, %v", s, ok)
			}
			var heard []diagnose.Stretch
			for _, f := range tt.heard {
				heard = append(heard, diagnose.Stretch{Figures: f, Reading: k.NewStretch()})
			}
			found, words := k.Judge(test, s, heard, tt.volts)
			var got []string
			for _, e := range found {
				f := &k.Findings[e.Finding]
				got = append(got, f.ID+"="+f.Values[e.Value].ID)
				if e.From != diagnose.FromScript || e.Text != words {
					t.Errorf("evidence %+v; want it measured, with the figures", e)
				}
			}
			if !slices.Equal(got, tt.want) || !strings.Contains(words, tt.words) {
				t.Errorf("%v: %s; want %v and %q", got, words, tt.want, tt.words)
			}
		})
	}
}

// A measured finding goes before one that was answered, whichever came first.
func TestWhatIsMeasuredGoesBeforeWhatIsAnswered(t *testing.T) {
	k := knowledge(t, diagnose.LoadOptions{})
	a, err := k.Answer("ping=none")
	if err != nil {
		t.Fatal(err)
	}
	m, ok := k.Measured("header-pressed=cured", "3 of 30 and 20 of 30")
	if !ok {
		t.Fatal("no such finding")
	}
	b, err := k.Answer("header pressed=no change")
	if err != nil {
		t.Fatal(err)
	}
	all := diagnose.Merge(a.Evidence, b.Evidence, []diagnose.Evidence{m})
	i := slices.IndexFunc(all, func(e diagnose.Evidence) bool { return e.Finding == m.Finding })
	if len(all) != 2 || all[i].Value != m.Value {
		t.Errorf("%+v; want the measured value", all)
	}
	if _, ok := k.Measured("wombat=cured", ""); ok {
		t.Error("a finding that nobody knows was measured")
	}
}
