package report_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist"
	"propwright/checklist/report"
)

func build(t *testing.T, r *run, s checklist.Sitting) report.Model {
	t.Helper()
	m, err := report.Build(r.entries, planned(), inputs(s))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// word is a step in a few words, for comparison.
func words(m report.Model) (decided, open []string) {
	for _, s := range m.Steps {
		decided = append(decided, string(s.Sitting)+" "+s.ID+" "+string(s.Verdict))
	}
	for _, o := range m.Open {
		open = append(open, string(o.Sitting)+" "+o.ID+": "+o.Why)
	}
	return decided, open
}

func TestBuildTakesTheOutcomesOfTheLog(t *testing.T) {
	r := newRun(t)
	r.bench()
	m := build(t, r, checklist.Bench)
	decided, open := words(m)
	wantDecided := []string{"bench wiring passed", "bench attach passed", "bench settings not confirmed", "bench cards passed", "bench range passed"}
	wantOpen := []string{"site range: not begun", "site link: not begun", "site sign-off: not begun"}
	if diff := cmp.Diff(wantDecided, decided); diff != "" {
		t.Errorf("decided (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff(wantOpen, open); diff != "" {
		t.Errorf("open (-want +got):\n%s", diff)
	}
	if m.Verdict != checklist.NotConfirmed || m.Complete || m.Number != 7 || len(m.Sittings) != 1 {
		t.Errorf("verdict %q, complete %t, number %d, sittings %+v", m.Verdict, m.Complete, m.Number, m.Sittings)
	}
	if m.Board.Firmware != "larkspur 3.2.0" {
		t.Errorf("firmware %q, want what the board told", m.Board.Firmware)
	}
}

// What rested on something that has changed is open again, in both sittings, and
// its old verdict stays on record.
func TestBuildAfterAChange(t *testing.T) {
	r := newRun(t)
	r.bench()
	before := r.at
	r.site()
	m := build(t, r, checklist.Site)
	_, open := words(m)
	want := []string{"bench range: changed since: cover", "site range: not begun", "site sign-off: not begun"}
	if diff := cmp.Diff(want, open); diff != "" {
		t.Errorf("open (-want +got):\n%s", diff)
	}
	earlier := m.Open[0].Earlier
	if len(earlier) != 1 || earlier[0].Verdict != checklist.Passed || !earlier[0].At.Equal(before) {
		t.Errorf("earlier = %+v; want passed at %v", earlier, before)
	}
	if len(m.Gaps) != 1 || m.Gaps[0].Kind != "resumed" || !strings.Contains(m.Gaps[0].Text, "26 h") {
		t.Errorf("gaps = %+v; want one resumed after 26 h", m.Gaps)
	}
	r.failRange()
	m = build(t, r, checklist.Bench)
	if m.Verdict != checklist.Failed || m.Steps[4].Verdict != checklist.Failed || len(m.Steps[4].Earlier) != 1 {
		t.Errorf("verdict %q, step %+v; want failed, one earlier verdict", m.Verdict, m.Steps[4])
	}
}

func TestBuildOfARunBrokenOff(t *testing.T) {
	r := newRun(t)
	m := build(t, r, checklist.Bench)
	if m.Verdict != checklist.NotConfirmed || len(m.Steps) != 0 || len(m.Open) != len(planned()) {
		t.Errorf("nothing done: verdict %q, %d steps, %d open", m.Verdict, len(m.Steps), len(m.Open))
	}
	r.begin(checklist.Bench, "wiring")
	m = build(t, r, checklist.Bench)
	if m.Open[0].Why != "begun, not decided" || m.Sittings[0].Verdict != checklist.NotConfirmed {
		t.Errorf("broken off: open %+v, sittings %+v", m.Open[0], m.Sittings)
	}
}

func TestBuildShowsTheEvidence(t *testing.T) {
	r := newRun(t)
	r.bench()
	m := build(t, r, checklist.Bench)
	var texts []string
	for _, f := range m.Steps[3].Findings {
		for _, e := range f.Excerpts {
			texts = append(texts, string(e.Type)+" "+e.Text)
		}
	}
	want := []string{
		"console card 5C 0A 91 E3 added",
		"console card 7d:00:f2:4b refused",
		`console \x1b[31m<script>alert(1)</script> \xff ready`,
	}
	if diff := cmp.Diff(want, texts); diff != "" {
		t.Errorf("excerpts (-want +got):\n%s", diff)
	}
	if got := m.Steps[0].Findings[0].Excerpts[0].Text; !strings.Contains(got, "5.02 V") || !strings.Contains(got, "R. Mole") {
		t.Errorf("answer's excerpt %q; want the figure and who said it", got)
	}
}

// Many pieces of evidence are cut to the first and the last.
func TestBuildCapsExcerpts(t *testing.T) {
	r := newRun(t)
	r.begin(checklist.Bench, "attach")
	var boots []checklist.Entry
	for range 30 {
		boots = append(boots, r.line("boot", "---- start ----", "", nil))
	}
	r.decide(checklist.Failed, checklist.Finding{What: "clean boot", Verdict: checklist.Failed, How: checklist.Measured, Value: checklist.Text("30"), Rests: checklist.RefsOf(boots...)})
	f := build(t, r, checklist.Bench).Steps[0].Findings[0]
	if len(f.Excerpts) != 8 || f.Elided != 22 || f.Excerpts[0].Where != 0 || f.Excerpts[7].Where != 29*17 {
		t.Errorf("%d excerpts, %d elided, from %d to %d; want 8, 22, 0 to %d", len(f.Excerpts), f.Elided, f.Excerpts[0].Where, f.Excerpts[7].Where, 29*17)
	}
}

func TestBuildNamesTheTags(t *testing.T) {
	r := newRun(t)
	r.bench()
	type tag struct{ UID, Role, Whose string }
	var got []tag
	for _, x := range build(t, r, checklist.Bench).Tags {
		got = append(got, tag{x.UID, x.Role, x.Whose})
	}
	want := []tag{{masterUID, "master", "the keeper of the keys"}, {showUID, "show", ""}, {strangerUID, "", ""}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("tags (-want +got):\n%s", diff)
	}
}

// RFC 4231, test case 2: HMAC-SHA-256 with key "Jefe" of "what do ya want for
// nothing?" begins 5bdcc146 (value from memory; the same as openssl dgst prints).
func TestFingerprintIsAnHMAC(t *testing.T) {
	if got := report.Fingerprint([]byte("Jefe"), "what do ya want for nothing?"); got != "5bdcc146" {
		t.Errorf("Fingerprint = %s, want 5bdcc146", got)
	}
}

func TestBuildRefuses(t *testing.T) {
	tests := map[string]struct {
		change func(*run, *report.Inputs)
		want   string
	}{
		"no header":        {func(r *run, _ *report.Inputs) { r.entries = r.entries[1:] }, "no run header"},
		"no time":          {func(_ *run, in *report.Inputs) { in.Issued = time.Time{} }, "time of issue"},
		"no signer":        {func(_ *run, in *report.Inputs) { in.Signer.Name = "" }, "no name"},
		"short key":        {func(_ *run, in *report.Inputs) { in.Fingerprint = in.Fingerprint[:15] }, "15 bytes"},
		"unknown sitting":  {func(_ *run, in *report.Inputs) { in.Sitting = "attic" }, "neither bench nor site"},
		"no principal":     {func(_ *run, in *report.Inputs) { in.Signer.Principal = "" }, "no principal"},
		"shell principal":  {func(_ *run, in *report.Inputs) { in.Signer.Principal = "a;rm" }, "only letters"},
		"option principal": {func(_ *run, in *report.Inputs) { in.Signer.Principal = "-n" }, "only letters"},
		"pattern":          {func(_ *run, in *report.Inputs) { in.Signer.Principal = "*" }, "only letters"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			r := newRun(t)
			r.bench()
			in := inputs(checklist.Bench)
			tt.change(r, &in)
			if _, err := report.Build(r.entries, planned(), in); err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("Build = %v; want an error with %q", err, tt.want)
			}
		})
	}
}

func TestBuildSaysWhatTheRunCannotShow(t *testing.T) {
	r := newRun(t)
	r.entries[0].Run.Virtual, r.entries[0].Run.Clock = true, "simulated"
	r.bench()
	m := build(t, r, checklist.Bench)
	all := strings.Join(m.Limitations, "\n")
	for _, want := range []string{"virtual", "simulated clock", "3 steps of the procedure not decided", "1 step not confirmed", "Doors were not part"} {
		if !strings.Contains(all, want) {
			t.Errorf("limitations lack %q:\n%s", want, all)
		}
	}
	if !strings.Contains(m.Exits, "proves no exit") {
		t.Errorf("exits: %q", m.Exits)
	}
}
