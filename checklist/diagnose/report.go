package diagnose

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"propwright/checklist"
)

// A stepRule says what a failed step stands for.
type stepRule struct {
	step  string
	words phrase
	any   bool // whatever its text says
	Observation
}

// FailedSteps reads a report.json and returns what its failed steps stand for, and the
// ids of those steps in the order of the report.
func (k *Knowledge) FailedSteps(in io.Reader) ([]Evidence, []string, error) {
	var doc struct {
		Steps []struct {
			ID       string            `json:"id"`
			Verdict  checklist.Verdict `json:"verdict"`
			Findings []struct {
				What    string            `json:"what"`
				Verdict checklist.Verdict `json:"verdict"`
				Note    string            `json:"note"`
				Value   struct {
					Text string `json:"text"`
				} `json:"value"`
				Limit struct {
					Text string `json:"text"`
				} `json:"limit"`
			} `json:"findings"`
		} `json:"steps"`
	}
	if err := json.NewDecoder(in).Decode(&doc); err != nil {
		return nil, nil, fmt.Errorf("read report: %w", err)
	}
	var out []Evidence
	var failed []string
	for _, s := range doc.Steps {
		if s.Verdict != checklist.Failed {
			continue
		}
		if !slices.Contains(failed, s.ID) {
			failed = append(failed, s.ID)
		}
		var findings []checklist.Finding
		for _, f := range s.Findings {
			limit := checklist.Text(f.Limit.Text)
			findings = append(findings, checklist.Finding{What: f.What, Verdict: f.Verdict, Note: f.Note, Value: checklist.Text(f.Value.Text), Limit: &limit})
		}
		out = append(out, k.FailedStep(s.ID, findings)...)
	}
	return out, failed, nil
}

// FailedStep returns what the failed ones of a step's findings stand for; that something
// failed is a complaint of its own.
func (k *Knowledge) FailedStep(id string, findings []checklist.Finding) []Evidence {
	var out []Evidence
	if f := k.Finding("complaint"); f >= 0 && slices.ContainsFunc(findings, func(f checklist.Finding) bool { return f.Verdict == checklist.Failed }) {
		if v := k.Findings[f].Value("fault"); v >= 0 {
			out = append(out, Evidence{Observation: Observation{f, v}, From: FromReport, Text: "step " + id + " failed", rank: rankCount})
		}
	}
	for _, f := range findings {
		if f.Verdict != checklist.Failed {
			continue
		}
		b := words(strings.Join([]string{f.What, f.Value.Text, f.Note, apart(f)}, "; "))
		for _, r := range k.steps {
			if r.step != id {
				continue
			}
			if _, ok := r.words.holds(b); !ok && !r.any {
				continue
			}
			out = append(out, Evidence{Observation: r.Observation, From: FromReport, Text: "step " + id + ": " + f.What + ", " + f.Value.Text, rank: rankCount})
			break
		}
	}
	return out
}

// apart says by how much a whole number differs from its limit, "" for what are none.
func apart(f checklist.Finding) string {
	if f.Limit == nil {
		return ""
	}
	is, ok := number(f.Value.Text)
	want, also := number(f.Limit.Text)
	if !ok || !also {
		return ""
	}
	return fmt.Sprintf("differ by %d", max(is-want, want-is))
}

// ledByChecklist is what is kept of a console that a checklist has led: its starts, strangers and
// removals were asked for.
var ledByChecklist = []string{"version", "selftest", "text", "bytes", "address", "mac", "uid-cut", "uid-random", "ghosts", "uid-spelling", "netchip", "memory-left", "lamp", "exception", "cut-lines"}

// Led keeps of the evidence of a console what still counts where a checklist led the
// board, which asks for restarts, strangers and removals.
func (k *Knowledge) Led(all []Evidence) []Evidence {
	return slices.DeleteFunc(slices.Clone(all), func(e Evidence) bool {
		return !slices.Contains(ledByChecklist, k.Findings[e.Finding].ID)
	})
}

// ledAtLink is what is kept of a link that a checklist has led: its connections were ended
// and its cable pulled on purpose.
var ledAtLink = []string{"controller", "link", "exception", "coil"}

// LedFrames is what the controller's side of a run shows, coil as for Frames. That nobody
// ever connected counts only where a board was to.
func (k *Knowledge) LedFrames(frames []checklist.Frame, coil int, wanted bool) []Evidence {
	if len(frames) == 0 && !wanted {
		return nil
	}
	return slices.DeleteFunc(k.Frames(frames, coil), func(e Evidence) bool {
		return !slices.Contains(ledAtLink, k.Findings[e.Finding].ID)
	})
}

func (b *builder) stepRules(s *source) error {
	for n, t := range s.t.Step {
		at := place{s, n}
		r := stepRule{step: t.ID, any: t.Words == ""}
		f := b.k.Finding(t.Finding)
		if f < 0 {
			return at.wrong("step", "finding", "finding", fmt.Errorf("%q: no such finding", t.Finding))
		}
		v := b.k.Findings[f].Value(t.Value)
		if v < 0 {
			return at.wrong("step", "value", "value", fmt.Errorf("%q: finding %q has no such value", t.Value, t.Finding))
		}
		r.Observation = Observation{f, v}
		if !r.any {
			p, err := parsePhrase(t.Words, b.k.sets)
			if err != nil {
				return at.wrong("step", "words", "words", err)
			}
			r.words = p
		}
		b.k.steps = append(b.k.steps, r)
	}
	return nil
}
