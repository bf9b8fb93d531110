package checklist_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist"
	"propwright/checklist/checklisttest"
	"propwright/parsers"
)

const flashSteps = `
name = "flash"
[[step]]
id = "settings"
sitting = "bench"
check = "quick"
rests_on = ["settings"]
[[step]]
id = "master"
sitting = "bench"
check = "enrols"
rests_on = ["lists"]
[[step]]
id = "reader-chip"
sitting = "bench"
check = "quick"
rests_on = ["soldering"]
[[step]]
id = "link"
sitting = "bench"
check = "waits"
rests_on = ["settings"]
`

// A flashBench is a rig whose last step waits until the board was flashed; start is
// what the board says when its port is opened.
type flashBench struct {
	*checklisttest.Rig
	start    func()
	refusals int // how often the port is not there yet
	ran      []string
	told     []checklist.Place
}

func newFlashBench(t *testing.T, earlier []checklist.Entry) *flashBench {
	t.Helper()
	b := &flashBench{start: func() {}}
	ran := func(s *checklist.Scene) ([]checklist.Finding, error) {
		b.ran = append(b.ran, s.Step.ID)
		m, err := s.Measure(checklist.Measure{Name: "m", Value: 1})
		return []checklist.Finding{{What: s.Step.ID, Verdict: checklist.Passed, Rests: checklist.RefsOf(m)}}, err
	}
	b.Rig = checklisttest.NewRig(t, flashSteps, checklist.Item{}, checklist.Checks{
		"quick": checklist.CheckFunc(func(_ context.Context, s *checklist.Scene) ([]checklist.Finding, error) { return ran(s) }),
		"enrols": checklist.CheckFunc(func(_ context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
			b.Event(parsers.KindMasterEnrolled, "uid", "04A1B2C3D4E5F6")
			return ran(s)
		}),
		"waits": checklist.CheckFunc(func(ctx context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
			if !slices.ContainsFunc(s.Log.Entries(0), func(e checklist.Entry) bool { return e.Reflash != nil }) {
				if _, _, err := s.Await(ctx, s.Cursor(), time.Hour, func(checklist.Entry) bool { return false }); err != nil {
					return nil, err
				}
			}
			return ran(s)
		}),
	}, earlier)
	b.Engine.Board = b
	b.Engine.Decided = func(d checklist.Decision) { b.told = append(b.told, d.Step.Place()) }
	b.Person.Answers = map[string]string{"flashed": "yes"}
	return b
}

func (b *flashBench) Attach(ctx context.Context) error {
	if b.refusals > 0 {
		b.refusals--
		return errors.New("in use")
	}
	if err := b.Rig.Attach(ctx); err != nil {
		return err
	}
	b.start()
	return nil
}

// says makes the board start: firmware, MAC, and what it tells of its lists.
func (b *flashBench) says(version, mac string, lists ...string) {
	b.Event(parsers.KindBoot)
	b.Event(parsers.KindFirmware, "name", "larkspur", "version", version)
	b.Event(parsers.KindAddress, "mac", mac)
	switch {
	case len(lists) == 0:
	case lists[0] == "":
		b.Event(parsers.KindMasterMissing)
	default:
		b.Event(parsers.KindSetting, "name", parsers.SettingMaster, "value", lists[0])
		b.Event(parsers.KindSetting, "name", parsers.SettingCards, "value", lists[1])
	}
}

// flashAt says the command once, when d has passed; the port is refused as often as
// refusals says after it.
func (b *flashBench) flashAt(d time.Duration, refusals int, then func()) {
	said := make(chan checklist.Command)
	b.Engine.Commands = said
	b.After(d, func() {
		b.start, b.refusals = then, refusals // before the command is said: the engine reads them after it
		said <- checklist.Command{Verb: checklist.CommandReflash}
	})
}

const ownMAC = "02:54:57:00:00:57"

// What expires is the architecture's: settings always, lists only where they did not
// survive, and nothing else.
func TestAReflashRepeatsWhatItTookTheGroundFrom(t *testing.T) {
	const own = "04A1B2C3D4E5F6"
	for name, tt := range map[string]struct {
		lists   []string // as the board tells them after it
		answers map[string]string
		again   string // the steps that ran after it
		fate    checklist.ListsFate
		how     checklist.How
	}{
		"kept, seen":      {lists: []string{own, "0"}, again: "settings link", fate: checklist.ListsKept, how: checklist.Measured},
		"lost, seen":      {lists: []string{""}, again: "settings master link", fate: checklist.ListsLost, how: checklist.Measured},
		"a card is gone":  {lists: []string{own, "3"}, again: "settings master link", fate: checklist.ListsLost, how: checklist.Measured},
		"kept, stated":    {answers: map[string]string{"lists-kept": "yes"}, again: "settings link", fate: checklist.ListsKept, how: checklist.Stated},
		"not known":       {answers: map[string]string{"lists-kept": "no"}, again: "settings master link", fate: checklist.ListsLost, how: checklist.Stated},
		"the port's late": {lists: []string{own, "0"}, again: "settings link", fate: checklist.ListsKept, how: checklist.Measured},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newFlashBench(t, nil)
				for key, text := range tt.answers {
					b.Person.Answers[key] = text
				}
				b.start = func() { b.says("3.2.0", ownMAC, own, "0") }
				refusals := 0
				if name == "the port's late" {
					refusals = 5
				}
				b.flashAt(time.Minute, refusals, func() { b.ran = nil; b.says("3.3.0", ownMAC, tt.lists...) })
				if _, err := b.Run(t.Context(), checklist.Bench); err != nil {
					t.Fatal(err)
				}
				if got := strings.Join(b.ran, " "); got != tt.again {
					t.Errorf("ran after the flash: %s; want %s", got, tt.again)
				}
				var last *checklist.Reflash
				for _, e := range b.Keeper.Kept() {
					if e.Reflash != nil {
						last = e.Reflash
					}
				}
				want := &checklist.Reflash{State: checklist.ReflashBack, Before: "larkspur 3.2.0", After: "larkspur 3.3.0", Lists: tt.fate, How: tt.how}
				if diff := cmp.Diff(want, last); diff != "" {
					t.Errorf("on record (-want +got):\n%s", diff)
				}
				// Each step line once, and once more for what ran again.
				if want := 3 + len(strings.Fields(tt.again)); len(b.told) != want {
					t.Errorf("%d decisions told, want %d: %v", len(b.told), want, b.told)
				}
			})
		})
	}
}

func TestAnotherBoardAfterAReflashIsRefused(t *testing.T) {
	for name, says := range map[string]func(*flashBench){
		"another MAC":    func(b *flashBench) { b.says("3.3.0", "02:54:57:00:00:58") },
		"another master": func(b *flashBench) { b.says("3.3.0", ownMAC, "3FA0C816", "0") },
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newFlashBench(t, nil)
				b.start = func() { b.says("3.2.0", ownMAC, "04A1B2C3D4E5F6", "0") }
				b.flashAt(time.Minute, 0, func() { says(b) })
				if _, err := b.Run(t.Context(), checklist.Bench); !errors.Is(err, checklist.ErrOtherBoard) {
					t.Errorf("Run = %v; want another board", err)
				}
			})
		})
	}
}

// A process that ends while the port is let go leaves the flash to the next one.
func TestAReflashThatWasBrokenOffIsGoneOnWith(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newFlashBench(t, nil)
		b.start = func() { b.says("3.2.0", ownMAC, "04A1B2C3D4E5F6", "0") }
		b.flashAt(time.Minute, 0, func() {})
		b.Person.Answers = nil // nobody answers
		if _, err := b.Run(t.Context(), checklist.Bench); !errors.Is(err, checklist.ErrNoAnswer) {
			t.Fatalf("Run = %v; want no answer", err)
		}
		kept := b.Keeper.Kept()
		kept = append(kept, checklist.Entry{N: int64(len(kept)) + 1, Type: checklist.EntryRun, Run: &checklist.RunHeader{Resumed: true}})
		again := newFlashBench(t, kept)
		again.start = func() { again.says("3.3.0", ownMAC, "") }
		if _, err := again.Run(t.Context(), checklist.Bench); err != nil {
			t.Fatal(err)
		}
		if got := strings.Join(again.ran, " "); got != "settings master link" {
			t.Errorf("ran after the flash: %s; want settings master link", got)
		}
	})
}

// Where the port is not open there is nothing to let go of, and the step goes on.
func TestAReflashIsRefusedWithoutAnOpenPort(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newFlashBench(t, nil)
		b.Engine.Board = nil
		b.Person.Answers = nil
		b.Engine.Checks["quick"] = checklist.BlindCheckFunc(func(ctx context.Context, s *checklist.Scene) ([]checklist.Finding, error) {
			_, _, err := s.Await(ctx, s.Cursor(), time.Minute, func(checklist.Entry) bool { return false })
			return nil, err
		})
		b.flashAt(time.Second, 0, func() {})
		if _, err := b.Run(t.Context(), checklist.Bench); err != nil {
			t.Fatal(err)
		}
		for _, e := range b.Keeper.Kept() {
			if e.Reflash != nil || e.Type == checklist.EntryExpire {
				t.Errorf("entry %d: %s without a port to let go of", e.N, e.Type)
			}
		}
	})
}
