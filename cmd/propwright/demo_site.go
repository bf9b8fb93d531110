package main

import (
	"cmp"
	"context"
	"fmt"
	"strings"

	"propwright/checklist"
	"propwright/checklist/plan"
	"propwright/serialmon/virtual"
)

// demoProp is the prop that the demo commissions.
const demoProp = "harbour-bell"

// demoFirstMore is the number before the coils of a demo board's further readers:
// the first one's neighbour belongs to another prop.
const demoFirstMore = 120

// demoCards are the roles of the prop's own tags, where it is in service already.
var demoCards = []string{checklist.RoleShow, checklist.RoleShow + "-2", checklist.RoleShow + "-3"}

// demoBoardPlan is what the demo's boards have in common.
const demoBoardPlan = "gateway=10.77.0.1 controller=bay-1 speed=115200 polarity=active-high leaving=reported lamps=red,green,blue supply_v=5"

// demoThings is the invented site of the demo: one controller, the prop under
// test, and a neighbour whose numbers must not be touched. For a swap the prop has
// another board, and the one that comes is its spare.
func demoThings(o demoOptions) []string {
	b := demoBuild(o)
	at := "rdr-07"
	ownPlan := " ip=10.77.0.57/24 " + demoBoardPlan + " lists=" + cmp.Or(b.Lists, "board")
	things := []string{"controller bay-1 address=10.77.0.10 port=502 unit=1 base=1"}
	if o.procedure == checklist.ProcedureSwap {
		at = "rdr-05"
		things = append(things, "board rdr-05 mac=02:54:57:00:00:55"+ownPlan, "board rdr-07 mac=02:54:57:00:00:57 speed=115200 supply_v=5")
	} else {
		things = append(things, "board rdr-07 mac=02:54:57:00:00:57"+ownPlan)
	}
	things = append(things,
		"board rdr-08 mac=02:54:57:00:00:58 ip=10.77.0.58/24 "+demoBoardPlan,
		"reader "+at+"/0 coil=117 behaviour="+firstOf(o.coil, "follows"),
		"reader rdr-08/0 coil=118 behaviour=follows",
		"prop harbour-bell room=Lighthouse cover_mm=6 drives=light board="+at,
		"prop chart-table room=Lighthouse cover_mm=4 drives=light board=rdr-08",
	)
	for i, coil := range b.More {
		things = append(things, fmt.Sprintf("reader %s/%d coil=%d behaviour=%s", at, i+1, coil, firstOf(o.coil, "follows")))
	}
	if o.procedure != checklist.ProcedureNew && o.procedure != "" {
		uids := virtual.DefaultTags()
		things = append(things, "tag master-1 role=master keeper=Duty-manager uid="+uids[checklist.RoleMaster])
		for i, role := range demoCards {
			things = append(things, fmt.Sprintf("tag bell-clapper-%d role=show prop=%s uid=%s", i+1, demoProp, uids[role]))
		}
	}
	return things
}

// makeDemoSite makes the demo's site with everything in its plan.
func makeDemoSite(ctx context.Context, d deps, dir, keyComment string, o demoOptions) (*sitePlan, error) {
	if err := initSite(ctx, dir, "The Tidewater Rooms", keyComment); err != nil {
		return nil, err
	}
	st, err := openPlan(ctx, d, dir)
	if err != nil {
		return nil, err
	}
	err = st.store.Change(ctx, func(p *plan.Plan) error {
		for _, thing := range demoThings(o) {
			words := strings.Fields(thing)
			if err := p.Add(plan.Kind(words[0]), words[1], words[2:]...); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, toolError{what: "demo site", err: err}
	}
	return st, nil
}
