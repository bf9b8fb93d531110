package reach_test

import (
	"strings"
	"testing"
	"testing/synctest"

	"propwright/checklist"
)

func TestRepeatSaysWhatTheCountBuys(t *testing.T) {
	for name, tt := range map[string]struct {
		missed  []int
		verdict checklist.Verdict
		value   string
		note    string
	}{
		// 1 - 0.860892 (the bound for 20 of 20).
		"no miss": {verdict: checklist.Passed, value: "0 misses of 20 at 6 mm", note: "13.9 % or less"},
		// 1 - 0.783894, the bound for 19 of 20 in proportion_intervals.csv.
		"one miss": {missed: []int{20}, verdict: checklist.Failed, value: "1 miss of 20", note: "21.6 % or less"},
		"many":     {missed: []int{1, 5, 6, 12, 19}, verdict: checklist.Failed, value: "5 misses of 20"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newBench(t, func(n int, _ float64) bool {
					for _, m := range tt.missed {
						if n == m {
							return false
						}
					}
					return true
				}, nil)
				o := b.run(t, "repeat", checklist.Bench)
				f := finding(t, o, "repeatability")
				if o.Verdict != tt.verdict || !strings.Contains(f.Value.Text, tt.value) || !strings.Contains(f.Note, tt.note) {
					t.Errorf("%q: %q, %q; want %q: %q, %q", o.Verdict, f.Value.Text, f.Note, tt.verdict, tt.value, tt.note)
				}
				if len(b.shown) != 20 || len(f.Rests) != 20 {
					t.Errorf("%d presentations, %d pieces of evidence; want 20 of each", len(b.shown), len(f.Rests))
				}
			})
		})
	}
}
