// Package storetest states what every store of a plan must do, whatever database
// is behind it. A store passes when Test does. It is for tests only.
package storetest

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"propwright/checklist/plan"
	"propwright/parsers"
)

// An Opener opens one site's store again and again: each call gives a further,
// independent connection to the same plan, as a further program would have. The
// plan is empty at the first call. The opener closes what it opened when the test
// ends.
type Opener func(t *testing.T) plan.Store

// Test runs all that a store must do. begin makes a fresh, empty site for each
// part.
func Test(t *testing.T, begin func(t *testing.T) Opener) {
	parts := map[string]func(*testing.T, Opener){
		"keeps every field":                   keepsEveryField,
		"keeps nothing of a failed change":    keepsNothingOfAFailedChange,
		"keeps no plan that breaks a rule":    keepsNoBrokenPlan,
		"replaces and removes":                replacesAndRemoves,
		"lets two numbers be swapped":         swapsNumbers,
		"moves a board to another controller": movesABoard,
		"gives a number to one only":          givesANumberToOneOnly,
		"ends with its context":               endsWithItsContext,
		"keeps a service log as written":      keepsTheServiceLog,
		"deletes nothing of a prop on hold":   deletesNothingOnHold,
	}
	for name, part := range parts {
		t.Run(name, func(t *testing.T) { part(t, begin(t)) })
	}
}

// Full is a plan in which every field of every thing holds something, and one
// thing of each kind as little as it may.
func Full() (plan.Plan, error) {
	var p plan.Plan
	for _, a := range []struct {
		kind     plan.Kind
		name     string
		settings []string
	}{
		{plan.KindController, "bay-1", []string{"address=10.77.0.10", "port=1502", "unit=2", "base=1", "network=show", "card=left, with the red cable"}},
		{plan.KindController, "bay-2", []string{"address=10.77.0.11", "base=0"}},
		{plan.KindBoard, "rdr-07", []string{"mac=02:54:57:00:00:57", "ip=10.77.0.57/24", "gateway=10.77.0.1", "controller=bay-1", "network=show",
			"firmware=larkspur 3.2.0", "speed=9600", "polarity=active-low", "leaving=silent", "lamps=red,green,blue", "supply_v=5.1"}},
		{plan.KindBoard, "rdr-08", nil},
		{plan.KindBoard, "rdr-09", []string{"controller=bay-2"}},
		{plan.KindReader, "rdr-07", []string{"coil=117", "behaviour=pulse", "at_boot=off"}},
		{plan.KindReader, "rdr-07/1", []string{"coil=65536"}},
		{plan.KindReader, "rdr-09", []string{"coil=0"}},
		{plan.KindProp, "harbour-bell", []string{"room=Lighthouse", "place=behind the bell, \"left\" ⚓", "cover=oak", "cover_mm=6.25", "drives=door",
			"board=rdr-07", "reach=2m", "open=90s", "photo=bell.jpg"}},
		{plan.KindProp, "chart-table", []string{"room=Lighthouse", "cover_mm=0", "drives=light"}},
		{plan.KindTag, "bell-clapper", []string{"uid=04A1B2C3D4E5F6", "role=show", "prop=harbour-bell", "form=fob", "state=lost"}},
		{plan.KindTag, "master-1", []string{"uid=5C0A91E3", "role=master", "keeper=duty manager", "form=card"}},
		{plan.KindTag, "stranger-1", []string{"uid=5C0A91E4", "role=stranger"}},
	} {
		if err := p.Add(a.kind, a.name, a.settings...); err != nil {
			return plan.Plan{}, err
		}
	}
	_, err := p.Log(plan.ServiceEntry{
		Prop: "harbour-bell", At: logged, Kind: plan.ServiceIncident, Text: "a guest's sleeve, \"caught\" ⚓", By: "R. Quill", Board: "rdr-08", Report: 14,
	})
	return p, err
}

// logged is when the entries of the service log were written.
var logged = time.Date(2026, 11, 25, 21, 30, 0, 0, time.UTC)

func keepsTheServiceLog(t *testing.T, open Opener) {
	s := open(t)
	want := fill(t, s)
	change(t, s, func(p *plan.Plan) {
		if _, err := p.Log(plan.ServiceEntry{Prop: "harbour-bell", At: logged, Kind: plan.ServiceBypassed, Text: "opened by hand", By: "R. Quill"}); err != nil {
			t.Error(err)
		}
		want = *p
	})
	expect(t, open(t), want)
	for name, change := range map[string]func(*plan.Plan){
		"an entry rewritten":  func(p *plan.Plan) { p.Service[0].Text = "nothing happened" },
		"an entry taken away": func(p *plan.Plan) { p.Service = p.Service[1:] },
		"a prop with entries": func(p *plan.Plan) { p.Tags, p.Props = p.Tags[1:], p.Props[:1] },
		"by-passed twice": func(p *plan.Plan) {
			e := p.Service[1]
			e.Number++
			p.Service = append(p.Service, e)
		},
	} {
		if err := s.Change(t.Context(), func(p *plan.Plan) error { change(p); return nil }); err == nil {
			t.Errorf("%s: kept", name)
		}
		expect(t, s, want)
	}
}

func deletesNothingOnHold(t *testing.T, open Opener) {
	s := open(t)
	fill(t, s)
	var want plan.Plan
	log := func(p *plan.Plan, kind plan.ServiceKind) {
		if _, err := p.Log(plan.ServiceEntry{Prop: "harbour-bell", At: logged, Kind: kind, Text: "insurer informed", By: "R. Quill"}); err != nil {
			t.Error(err)
		}
	}
	change(t, s, func(p *plan.Plan) { log(p, plan.ServiceHeld); want = *p })
	noTags := func(p *plan.Plan) {
		p.Tags = slices.DeleteFunc(p.Tags, func(t plan.Tag) bool { return t.Prop == "harbour-bell" })
	}
	if err := s.Change(t.Context(), func(p *plan.Plan) error { noTags(p); return nil }); err == nil || !strings.Contains(err.Error(), "on hold") {
		t.Errorf("the tags of a prop on hold: %v; want that it is on hold", err)
	}
	expect(t, s, want)
	change(t, s, func(p *plan.Plan) { // what does not take away may go on
		p.Props[slices.IndexFunc(p.Props, func(q plan.Prop) bool { return q.Name == "harbour-bell" })].CoverMM = 7
	})
	change(t, s, func(p *plan.Plan) { log(p, plan.ServiceReleased) })
	change(t, s, noTags)
}

func keepsEveryField(t *testing.T, open Opener) {
	s := open(t)
	expect(t, s, plan.Plan{})
	want := fill(t, s)
	expect(t, s, want)
	expect(t, open(t), want)
}

func keepsNothingOfAFailedChange(t *testing.T, open Opener) {
	s := open(t)
	want := fill(t, s)
	second := errors.New("second thoughts")
	err := s.Change(t.Context(), func(p *plan.Plan) error {
		if err := p.Add(plan.KindBoard, "rdr-10", "mac=02:54:57:00:00:60"); err != nil {
			return err
		}
		p.Props, p.Boards[0].Lamps[0] = nil, "violet"
		return second
	})
	if !errors.Is(err, second) {
		t.Errorf("Change gave %v, want the change's own error", err)
	}
	expect(t, s, want)
	expect(t, open(t), want)
}

func keepsNoBrokenPlan(t *testing.T, open Opener) {
	s := open(t)
	want := fill(t, s)
	for name, change := range map[string]func(*plan.Plan){
		"a coil twice":                      func(p *plan.Plan) { p.Readers[1].Coil = p.Readers[0].Coil },
		"a MAC twice":                       func(p *plan.Plan) { p.Boards[1].MAC = p.Boards[0].MAC },
		"a prop on no board":                func(p *plan.Plan) { p.Props[0].Board = "rdr-99" },
		"a controller taken away":           func(p *plan.Plan) { p.Controllers = p.Controllers[1:] },
		"a board at a controller's address": func(p *plan.Plan) { p.Boards[0].IP = netip.PrefixFrom(p.Controllers[0].Address, 24) },
		"a word that is none":               func(p *plan.Plan) { p.Tags[0].Role = "guest" },
	} {
		if err := s.Change(t.Context(), func(p *plan.Plan) error { change(p); return nil }); err == nil {
			t.Errorf("%s: kept", name)
		}
		expect(t, s, want)
	}
}

func replacesAndRemoves(t *testing.T, open Opener) {
	s := open(t)
	fill(t, s)
	var want plan.Plan
	change(t, s, func(p *plan.Plan) {
		p.Tags = p.Tags[:1]
		p.Tags[0].State = plan.StateRetired
		p.Props[1].CoverMM = 6.5
		p.Boards[0].Firmware = ""
		p.Boards[0].Lamps = []string{"white"}
		want = *p
	})
	expect(t, open(t), want)
	change(t, s, func(p *plan.Plan) {
		p.Tags, p.Readers = nil, nil
		p.Props, p.Boards, p.Controllers = p.Props[1:], p.Boards[:1], p.Controllers[:1]
		want = *p
	})
	expect(t, open(t), want)
}

func swapsNumbers(t *testing.T, open Opener) {
	s := open(t)
	fill(t, s)
	var want plan.Plan
	change(t, s, func(p *plan.Plan) {
		p.Readers[0].Coil, p.Readers[1].Coil = p.Readers[1].Coil, p.Readers[0].Coil
		p.Boards[0].MAC, p.Boards[1].MAC = p.Boards[1].MAC, p.Boards[0].MAC
		want = *p
	})
	expect(t, open(t), want)
}

func movesABoard(t *testing.T, open Opener) {
	s := open(t)
	fill(t, s)
	var want plan.Plan
	change(t, s, func(p *plan.Plan) {
		p.Boards[0].Controller, p.Boards[0].Network = "bay-2", plan.DefaultNetwork
		p.Readers[1].Coil = 118 // bay-2 counts from 0 and has no coil 65536
		want = *p
	})
	expect(t, open(t), want)
}

// givesANumberToOneOnly has several programs claim the same coil at once.
func givesANumberToOneOnly(t *testing.T, open Opener) {
	first := open(t)
	fill(t, first)
	const programs = 4
	var stores []plan.Store
	for range programs {
		stores = append(stores, open(t))
	}
	var wg sync.WaitGroup
	errs := make([]error, programs)
	for i, s := range stores {
		wg.Go(func() {
			errs[i] = s.Change(t.Context(), func(p *plan.Plan) error {
				return p.Add(plan.KindReader, fmt.Sprintf("rdr-07/%d", i+2), "coil=200")
			})
		})
	}
	wg.Wait()
	got := 0
	for _, err := range errs {
		if err == nil {
			got++
		} else if field, ok := errors.AsType[*plan.FieldError](err); !ok || field.Field != "coil" {
			t.Errorf("a program that came late was told: %v; want that the coil is taken", err)
		}
	}
	if got != 1 {
		t.Errorf("%d programs got the coil, want 1", got)
	}
	if p, err := first.Load(t.Context()); err != nil || p.Check() != nil {
		t.Errorf("afterwards: %v, %v", err, p.Check())
	}
}

func endsWithItsContext(t *testing.T, open Opener) {
	s := open(t)
	want := fill(t, s)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.Load(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("Load gave %v, want context.Canceled", err)
	}
	if err := s.Change(ctx, func(p *plan.Plan) error { p.Tags = nil; return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("Change gave %v, want context.Canceled", err)
	}
	expect(t, s, want)
}

// fill puts the full plan in and returns it.
func fill(t *testing.T, s plan.Store) plan.Plan {
	t.Helper()
	full, err := Full()
	if err != nil {
		t.Fatal(err)
	}
	change(t, s, func(p *plan.Plan) { *p = full })
	again, err := Full() // the store may have kept the memory of the first
	if err != nil {
		t.Fatal(err)
	}
	return again
}

func change(t *testing.T, s plan.Store, do func(*plan.Plan)) {
	t.Helper()
	if err := s.Change(t.Context(), func(p *plan.Plan) error { do(p); return nil }); err != nil {
		t.Fatal(err)
	}
}

// expect compares what the store holds; the order within a kind is its own.
func expect(t *testing.T, s plan.Store, want plan.Plan) {
	t.Helper()
	got, err := s.Load(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	diff := cmp.Diff(want, got,
		cmp.Comparer(func(a, b parsers.UID) bool { return a == b }),
		cmpopts.EquateComparable(plan.Board{}.IP, plan.Board{}.Gateway, plan.MAC{}),
		cmpopts.EquateEmpty(),
		sorted(func(c plan.Controller) string { return c.Name }),
		sorted(func(b plan.Board) string { return b.Name }),
		sorted(plan.Reader.Name),
		sorted(func(q plan.Prop) string { return q.Name }),
		sorted(func(g plan.Tag) string { return g.Name }))
	if diff != "" {
		t.Errorf("the store holds (-want +got)\n%s", diff)
	}
}

func sorted[T any](name func(T) string) cmp.Option {
	return cmpopts.SortSlices(func(a, b T) bool { return name(a) < name(b) })
}
