package plan_test

import (
	"strings"
	"testing"

	"propwright/checklist/plan"
)

// A spare takes the prop's numbers over, and what it had planned of its own stays.
func TestASpareTakesThePropsNumbersOver(t *testing.T) {
	for name, tt := range map[string]struct {
		spare, wantIP, wantOldIP, wantPolarity string
	}{
		"with nothing of its own": {"mac=02:54:57:00:00:61", "10.77.0.57", "", "active-high"},
		"with its own address":    {"mac=02:54:57:00:00:61 ip=10.77.0.61/24 gateway=10.77.0.1 polarity=active-low", "10.77.0.61", "10.77.0.57/24", "active-low"},
	} {
		t.Run(name, func(t *testing.T) {
			p := tidewaterPlan(t)
			if err := p.Add(plan.KindBoard, "rdr-20", strings.Fields(tt.spare)...); err != nil {
				t.Fatal(err)
			}
			before := tidewaterPlan(t)
			it, err := p.SpareItem("harbour-bell", "")
			if err != nil {
				t.Fatal(err)
			}
			if it.Replaces != "rdr-07" || it.Board.Asset != "rdr-20" || it.Board.MAC != "02:54:57:00:00:61" || it.Board.IP != tt.wantIP ||
				it.Board.Polarity != tt.wantPolarity || it.Readers[0].Coil != 117 || it.Controller.Name != "bay-1" {
				t.Errorf("item %+v", it)
			}
			if owner := it.Owner("coil", "117"); owner != "" {
				t.Errorf("the prop's own coil is called %s's", owner)
			}
			if owner := it.Owner("coil", "118"); owner != "chart-table" {
				t.Errorf("the neighbour's coil is called %q's", owner)
			}
			if q, _ := p.Prop("harbour-bell"); q.Board != "rdr-07" {
				t.Errorf("looking at a spare has moved board %q to the prop", q.Board)
			}
			if err := p.Swap("harbour-bell", "rdr-20"); err != nil {
				t.Fatal(err)
			}
			q, _ := p.Prop("harbour-bell")
			old, _ := p.Board("rdr-07")
			was, _ := before.Board("rdr-07")
			if q.Board != "rdr-20" || old.MAC != was.MAC {
				t.Errorf("board %s at the prop, old board's MAC %v", q.Board, old.MAC)
			}
			if oldIP := old.IP.String(); old.IP.IsValid() != (tt.wantOldIP != "") || tt.wantOldIP != "" && oldIP != tt.wantOldIP {
				t.Errorf("old board's address %v, want %q", old.IP, tt.wantOldIP)
			}
			if rs := p.ReadersOf("rdr-20"); len(rs) != 1 || rs[0].Coil != 117 || len(p.ReadersOf("rdr-07")) != 0 {
				t.Errorf("readers %+v at the spare, %+v at the old board", rs, p.ReadersOf("rdr-07"))
			}
			if err := p.Swap("harbour-bell", "rdr-07"); err != nil {
				t.Errorf("the repaired board does not go back in: %v", err)
			}
		})
	}
}

func TestSwapRefuses(t *testing.T) {
	for name, tt := range map[string]struct {
		add         []string
		prop, spare string
		want        string
	}{
		"no such prop":    {nil, "harbor-bell", "", `prop "harbor-bell": not in the plan, did you mean harbour-bell?`},
		"no spare":        {nil, "harbour-bell", "", "swap: the plan has no board that is at no prop"},
		"at another prop": {nil, "harbour-bell", "rdr-08", `board "rdr-08": is at prop "chart-table"`},
		"not in the plan": {nil, "harbour-bell", "rdr-99", `board "rdr-99": not in the plan`},
		"two spares":      {[]string{"board rdr-20", "board rdr-21"}, "harbour-bell", "", "swap: several boards are at no prop (rdr-20, rdr-21), say which with --board"},
		"another network": {[]string{"board rdr-20 network=annex"}, "harbour-bell", "rdr-20", `board "rdr-20": is in network "annex", the prop's board in "main"`},
		"a prop without":  {[]string{"board rdr-20", "prop empty-shelf room=Lighthouse cover_mm=0 drives=light"}, "empty-shelf", "rdr-20", `prop "empty-shelf": no board is at it`},
	} {
		t.Run(name, func(t *testing.T) {
			p := tidewaterPlan(t)
			for _, line := range tt.add {
				w := strings.Fields(line)
				if err := p.Add(plan.Kind(w[0]), w[1], w[2:]...); err != nil {
					t.Fatal(err)
				}
			}
			if _, err := p.SpareItem(tt.prop, tt.spare); err == nil || err.Error() != tt.want {
				t.Errorf("%v\nwant %s", err, tt.want)
			}
		})
	}
}
