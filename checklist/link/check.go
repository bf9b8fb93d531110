package link

import (
	"context"
	"time"

	"propwright/checklist"
)

// Check is the kind of check "link": the board finds the controller, its tag
// switches the planned coil on and off in time, and it comes back after its
// network cable was out. Without a stand-in nothing is confirmed. Its figures come
// from the step's parameters (connect_within, presentations, delay_pass_s,
// delay_fail_s, off_within, recover_within).
type Check struct{ StandIn Switch }

// Console is true: the delay counts from the console's word of the tag.
func (Check) Console() bool { return true }

// limits are the parameters of a link step.
type limits struct {
	connect, pass, fail, off, recover time.Duration
	presentations                     int
}

func limitsOf(st checklist.Step) (l limits, err error) {
	if l.presentations, err = st.Int("presentations"); err != nil {
		return l, err
	}
	return l, figures(st, map[string]*time.Duration{
		"connect_within": &l.connect, "delay_pass_s": &l.pass, "delay_fail_s": &l.fail, "off_within": &l.off, "recover_within": &l.recover,
	})
}

// Run watches the board at the stand-in. It returns errors of the log, the
// person and the step's parameters.
func (k Check) Run(ctx context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
	l, err := limitsOf(s.Step)
	if err != nil {
		return nil, err
	}
	if absent(k.StandIn) {
		return noStandIn(), nil
	}
	if ok, refused, err := s.ClearRoom(ctx); err != nil || !ok {
		return refused, err
	}
	if err := tidy(ctx, s); err != nil {
		return nil, err
	}
	start := s.Now()
	conn, ok, err := awaitConnection(ctx, s, l.connect)
	if err != nil {
		return nil, err
	}
	if !ok {
		return withNames(s, []checklist.Finding{diagnose(s, l.connect)}), nil
	}
	findings := []checklist.Finding{connectionFinding(s, conn, start, l.connect)}
	written := false
	for _, r := range readers(s.Item) {
		w := showing{reader: r, several: len(s.Item.Readers) > 1, console: true, onWithin: max(l.off, 2*l.fail), offWithin: l.off}
		trials, err := presentations(ctx, s, w, l.presentations)
		if err != nil {
			return nil, err
		}
		found := judgeTrials(s, r, trials, l)
		line := PairUp(ofTheStep(s), readers(s.Item)).of(r, readers(s.Item))
		for i := range found {
			found[i].Reader = r.Index
			if found[i].What == whatDelay {
				found[i].TimeLine = picture(line, l.fail)
			}
		}
		findings = append(findings, found...)
		for _, t := range trials {
			written = written || t.coil >= 0
		}
	}
	if !written || l.recover == 0 {
		return withNames(s, findings), nil // nothing that could come back, or not to be tried
	}
	back, err := recovery(ctx, s, l)
	return withNames(s, append(findings, back)), err
}
