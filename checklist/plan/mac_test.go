package plan_test

import (
	"strings"
	"testing"

	"propwright/checklist/plan"
)

// RFC 9542, 2.1.1 (M and X bits) and 2.1.4 (documentation ranges).
func TestMACBits(t *testing.T) {
	for _, row := range table(t, "mac_cases.csv") {
		m, err := plan.ParseMAC(row["mac"])
		if err != nil {
			t.Fatal(err)
		}
		flag := func(name string) bool { return row[name] == "1" }
		if m.Group() != flag("group") || m.Local() != flag("local") || m.Documentation() != flag("documentation") {
			t.Errorf("%s: group %t, local %t, documentation %t; want %s, %s, %s", row["mac"],
				m.Group(), m.Local(), m.Documentation(), row["group"], row["local"], row["documentation"])
		}
		var p plan.Plan
		err = p.Add(plan.KindBoard, "rdr-07", "mac="+row["mac"])
		if refused := flag("group") || flag("documentation"); (err != nil) != refused {
			t.Errorf("board with %s: %v; want refused %t", row["mac"], err, refused)
		}
		var noted bool
		for _, n := range p.Notes() {
			noted = noted || strings.Contains(n.Text, "globally administered")
		}
		if want := err == nil && !flag("local"); noted != want {
			t.Errorf("board with %s: noted as globally administered %t, want %t", row["mac"], noted, want)
		}
	}
}

func TestParseMAC(t *testing.T) {
	want := plan.MAC{0x02, 0x54, 0x57, 0x00, 0x00, 0x57}
	for _, text := range []string{"02:54:57:00:00:57", "02-54-57-00-00-57", "2:54:57:0:0:57", "02.54.57.00.00.57", "025457000057"} {
		if got, err := plan.ParseMAC(text); err != nil || got != want {
			t.Errorf("ParseMAC(%q) = %v, %v; want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "02:54:57:00:00", "02:54:57:00:00:57:58", "02:54:57:00:00:5g", "0254.5700.0057", "02:54:57:00:00:057", "02545700005", "0x02:54:57:0:0:57"} {
		if got, err := plan.ParseMAC(text); err == nil {
			t.Errorf("ParseMAC(%q) = %v, want an error", text, got)
		}
	}
	if got := want.String(); got != "02:54:57:00:00:57" {
		t.Errorf("String() = %q", got)
	}
}

func FuzzParseMAC(f *testing.F) {
	f.Add("02:54:57:00:00:57")
	f.Add("2-54-57-0-0-57")
	f.Fuzz(func(t *testing.T, text string) {
		m, err := plan.ParseMAC(text)
		if err != nil {
			return
		}
		if again, err := plan.ParseMAC(m.String()); err != nil || again != m {
			t.Errorf("ParseMAC(%q) = %v, printed and parsed: %v, %v", text, m, again, err)
		}
	})
}
