package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"propwright/checklist"
)

// A page is what the template shows: the report as it may be seen, arranged.
type page struct {
	Model
	Digest     string // of report.json
	Word       string
	Scope      string
	Mark       string // name of the verdict's shape
	Tally      []string
	Until      string    // the day up to which it is conditional, "" where it is not
	Trouble    []trouble // what stands between this and a pass
	Groups     []group
	Evidence   []evidence
	Measured   int
	Stated     int
	Planned    int
	VerifyLine string
	Earlier    []string // the like, for the other sittings' own reports
	Plan       []planRow
	Tagged     []Tag
}

// A trouble is a finding or step that is not passed.
type trouble struct {
	Verdict                                       checklist.Verdict
	Mark, Step, Sitting, What, Found, Limit, Note string
}

// A group is a sitting with its steps.
type group struct {
	Sitting Sitting
	Name    string
	Mark    string
	Steps   []row
	Open    []Open
}

// A row is a step with its findings.
type row struct {
	Step
	Number int
	Mark   string
	Lines  []line
}

// A line is one finding; Ref numbers its evidence, 0 for none.
type line struct {
	Finding
	Mark string
	Ref  int
}

// An evidence is a list of excerpts that one or more findings rest on.
type evidence struct {
	Number   int
	For      string
	Excerpts []Excerpt
	Elided   int
}

// A planRow is a thing that the plan says.
type planRow struct{ Name, Value string }

func newPage(m Model, reportDigest string) (page, error) {
	line, earlier := VerifyLine(m), EarlierLines(m)
	m, err := shown(m)
	if err != nil {
		return page{}, err
	}
	p := page{Model: m, Digest: reportDigest, Mark: mark(m.Verdict), VerifyLine: line, Earlier: earlier, Plan: planRows(m), Tagged: m.Tags}
	p.Word, p.Scope = headline(m)
	p.tally()
	for _, s := range m.Sittings {
		p.Groups = append(p.Groups, group{Sitting: s, Name: string(s.Sitting), Mark: mark(s.Verdict)})
	}
	for _, s := range m.Steps {
		p.step(s)
	}
	slices.SortStableFunc(p.Trouble, func(a, b trouble) int {
		return cmp.Compare(severity(a.Verdict), severity(b.Verdict))
	})
	for i := range p.Groups {
		for _, o := range m.Open {
			if o.Sitting == p.Groups[i].Sitting.Sitting {
				p.Groups[i].Open = append(p.Groups[i].Open, o)
			}
		}
	}
	return p, nil
}

// step arranges one step; one whose sitting the report does not list has no
// group and is shown nowhere, which Verify reports.
func (p *page) step(s Step) {
	i := slices.IndexFunc(p.Groups, func(g group) bool { return g.Sitting.Sitting == s.Sitting })
	if i < 0 {
		return
	}
	r := row{Step: s, Number: len(p.Groups[i].Steps) + 1, Mark: mark(s.Verdict)}
	for _, f := range s.Findings {
		r.Lines = append(r.Lines, line{Finding: f, Mark: mark(f.Verdict), Ref: p.rest(s, f)})
		switch f.How {
		case checklist.Measured:
			p.Measured++
		case checklist.Stated:
			p.Stated++
		case checklist.Planned:
			p.Planned++
		}
		if f.Verdict != checklist.Passed {
			t := trouble{
				Verdict: f.Verdict, Mark: mark(f.Verdict), Step: s.Title, Sitting: string(s.Sitting),
				What: f.What, Found: figure(f.Value), Note: f.Note,
			}
			if f.Limit != nil {
				t.Limit = figure(*f.Limit)
			}
			p.Trouble = append(p.Trouble, t)
		}
	}
	if s.Verdict != checklist.Passed && len(s.Findings) == 0 {
		p.Trouble = append(p.Trouble, trouble{Verdict: s.Verdict, Mark: r.Mark, Step: s.Title, Sitting: string(s.Sitting), What: s.Reason})
	}
	p.Groups[i].Steps = append(p.Groups[i].Steps, r)
}

// rest gives the evidence of a finding a number, that of the same evidence where
// an earlier finding rests on it too.
func (p *page) rest(s Step, f Finding) int {
	if len(f.Excerpts) == 0 {
		return 0
	}
	for i, e := range p.Evidence {
		if e.Elided == f.Elided && slices.Equal(e.Excerpts, f.Excerpts) {
			p.Evidence[i].For += "; " + f.What
			return e.Number
		}
	}
	p.Evidence = append(p.Evidence, evidence{
		Number: len(p.Evidence) + 1, For: s.Title + ": " + f.What, Excerpts: f.Excerpts, Elided: f.Elided,
	})
	return len(p.Evidence)
}

// tally counts the steps by verdict, worst first, and leaves out the noughts; it says
// too up to when a pass is conditional.
func (p *page) tally() {
	p.Until = conditionalUntil(p.Model)
	for _, v := range worstFirst() {
		if n := countSteps(p.Steps, v); n > 0 {
			p.Tally = append(p.Tally, fmt.Sprintf("%s %s", steps(n), v))
		}
	}
}

func worstFirst() []checklist.Verdict {
	return []checklist.Verdict{checklist.Failed, checklist.NotConfirmed, checklist.Skipped, checklist.Passed}
}

// severity orders verdicts for the reader, the worst first.
func severity(v checklist.Verdict) int { return slices.Index(worstFirst(), v) }

// mark names the shape of a verdict. Each has its own, so that colour is never
// needed.
func mark(v checklist.Verdict) string {
	switch v {
	case checklist.Passed:
		return "v-passed"
	case checklist.Skipped:
		return "v-skipped"
	case checklist.NotConfirmed:
		return "v-unsure"
	default:
		return "v-failed"
	}
}

// planRows say what the item was judged by; what is not planned is left out.
func planRows(m Model) []planRow {
	var rows []planRow
	add := func(name, value string) {
		if value != "" && value != "0" {
			rows = append(rows, planRow{name, value})
		}
	}
	it, b, c := m.Item, m.Item.Board, m.Item.Controller
	add("cover", withUnit(number(it.CoverMM), "mm"))
	add("address", b.IP)
	add("mask", b.Mask)
	add("gateway", b.Gateway)
	add("MAC", b.MAC)
	add("firmware", b.Firmware)
	if b.Speed > 0 {
		add("console", fmt.Sprintf("%d baud", b.Speed))
	}
	add("polarity", b.Polarity)
	add("leaving", b.Leaving)
	add("lamps, left to right", strings.Join(b.Lamps, ", "))
	if b.SupplyV > 0 {
		add("own supply", withUnit(number(b.SupplyV), "V"))
	}
	if c.Address != "" {
		add("controller", fmt.Sprintf("%s, %s:%d, unit %d, coils from %d", c.Name, c.Address, c.Port, c.Unit, c.Base))
	}
	for _, r := range it.Readers {
		add(fmt.Sprintf("reader %d", r.Index), strings.TrimSuffix(fmt.Sprintf("coil %d, %s", r.Coil, r.Behaviour), ", "))
	}
	return rows
}
