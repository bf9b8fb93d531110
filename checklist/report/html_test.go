package report_test

import (
	"bytes"
	"regexp"
	"strings"
	"testing"

	"propwright/checklist"
	"propwright/checklist/report"
)

func TestRenderHTMLIsTheSameEachTime(t *testing.T) {
	dir, _ := bundle(t)
	signed := read(t, dir, report.FileReport)
	first, err := report.RenderHTML(signed)
	if err != nil {
		t.Fatal(err)
	}
	for range 20 {
		again, err := report.RenderHTML(signed)
		if err != nil || !bytes.Equal(again, first) {
			t.Fatalf("another page from the same bytes (%v)", err)
		}
	}
}

func TestRenderHTMLNeedsNothingFromOutside(t *testing.T) {
	dir, _ := bundle(t)
	page := string(read(t, dir, report.FileHTML))
	for _, bad := range []string{"<script", "<link", "<img", "<iframe", "http://", "https://", "url(", "@import", "javascript:", " onload", "src="} {
		if strings.Contains(strings.ToLower(page), bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	// What the board printed is there, as text.
	if want := `\x1b[31m&lt;script&gt;alert(1)&lt;/script&gt; \xff ready`; !strings.Contains(page, want) {
		t.Errorf("the page lacks %q", want)
	}
}

func TestRenderHTMLNamesNoTag(t *testing.T) {
	dir, m := bundle(t)
	page := string(read(t, dir, report.FileHTML))
	digits := regexp.MustCompile(`[^0-9A-Za-z]+`).ReplaceAllString(page, "")
	for _, tag := range m.Tags {
		if strings.Contains(strings.ToUpper(digits), tag.UID) {
			t.Errorf("the page holds tag %s", tag.UID)
		}
	}
	for _, bad := range []string{"2097214027", "7d00f24b", "5c0a91e3"} {
		if strings.Contains(strings.ToLower(page), bad) {
			t.Errorf("the page holds %s", bad)
		}
	}
	if !strings.Contains(page, m.Tags[1].Fingerprint) {
		t.Errorf("the page lacks the show tag's fingerprint %s", m.Tags[1].Fingerprint)
	}
}

func TestRenderHTMLSaysWhatARealReportWouldNot(t *testing.T) {
	tests := map[string]struct {
		virtual bool
		comment string
		want    []string
		lacks   []string
	}{
		"real":    {false, "", nil, []string{"VIRTUAL", "Demonstration key"}},
		"virtual": {true, "", []string{"VIRTUAL BOARD"}, []string{"Demonstration key"}},
		"demo":    {true, report.DemoComment, []string{"VIRTUAL BOARD", "Demonstration key"}, nil},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			r := newRun(t)
			r.entries[0].Run.Virtual = tt.virtual
			r.bench()
			r.lay(dir)
			m, err := report.Write(dir, r.entries, planned(), inputs(checklist.Bench), newKey(t, 1, tt.comment))
			if err != nil {
				t.Fatal(err)
			}
			page := string(read(t, dir, report.FileHTML))
			for _, want := range append(tt.want, "NOT CONFIRMED", "proves no exit", m.Procedure.Digest, "ssh-keygen -Y verify", "4.75 to 5.25 V", "End of report 7") {
				if !strings.Contains(page, want) {
					t.Errorf("the page lacks %q", want)
				}
			}
			for _, bad := range tt.lacks {
				if strings.Contains(page, bad) {
					t.Errorf("the page holds %q", bad)
				}
			}
			if strings.Contains(report.Summary(m), "VIRTUAL") != tt.virtual {
				t.Errorf("Summary = %q, virtual %t", report.Summary(m), tt.virtual)
			}
		})
	}
}

func TestShow(t *testing.T) {
	_, m := bundle(t)
	text, err := report.Show(m)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"report 7 · harbour-bell · rdr-07 · not confirmed", "ssh-keygen -Y verify -f allowed_signers -I mole@tidewater -n propwright-report -s report.json.sig < report.json",
		"0.62 s", "open: bench range, changed since: cover", "proves no exit",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("Show lacks %q:\n%s", want, text)
		}
	}
	if strings.ContainsAny(text, "\x1b\r") || strings.Contains(text, showUID) {
		t.Errorf("Show holds a control code or a tag:\n%q", text)
	}
}
