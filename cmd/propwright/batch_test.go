//go:build linux

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist"
	"propwright/checklist/link"
	"propwright/checklist/plan"
	"propwright/parsers"
	"propwright/serialmon"
	"propwright/serialmon/clock"
	"propwright/serialmon/virtual"
)

// A batchBench is a site with several props and a virtual board for each, of which one
// at a time is in the same USB socket.
type batchBench struct {
	t      *testing.T
	site   *sitePlan
	clock  *clock.Sim
	listen string
	silent atomic.Bool // the stand-in leaves requests without an answer
	port   string
	boards map[string]*benchBoard
	in     *benchBoard // in the socket
	queue  []string    // in the order in which they are taken up
	asked  []checklist.Question
	labels []string // what is answered to whose board it is
	told   []string
	batch  *batch
	out    bytes.Buffer
	abort  string // at the door, before this board is plugged in
}

type benchBoard struct {
	name      string
	board     *virtual.Board
	line      *virtual.PtyLine
	hands     *virtualHands
	connected bool
}

// newBatchBench makes a site with a prop for each board, named prop-01 and so on for
// rdr-01; faults are by board.
func newBatchBench(t *testing.T, boards int, faults map[string]string) *batchBench {
	t.Helper()
	dir := t.TempDir()
	b := &batchBench{
		t: t, clock: clock.Simulated(time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)), listen: freeAddress(t),
		port: filepath.Join(dir, "port"), boards: map[string]*benchBoard{},
	}
	if err := initSite(t.Context(), filepath.Join(dir, "site"), "The Tidewater Rooms", "test key"); err != nil {
		t.Fatal(err)
	}
	var err error
	if b.site, err = openPlan(t.Context(), testDeps(), filepath.Join(dir, "site")); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.site.Close() })
	things := []string{"controller bay-1 address=10.77.0.10 port=502 unit=1 base=1"}
	for i := 1; i <= boards; i++ {
		build := virtual.DefaultBuild()
		build.Coil, build.IP, build.MAC = 100+i, fmt.Sprintf("10.77.0.%d", 100+i), fmt.Sprintf("02:54:57:00:01:%02x", i)
		name := fmt.Sprintf("rdr-%02d", i)
		things = append(things,
			fmt.Sprintf("board %s mac=%s ip=%s/24 %s", name, build.MAC, build.IP, demoBoardPlan),
			fmt.Sprintf("reader %s/0 coil=%d behaviour=follows", name, build.Coil),
			fmt.Sprintf("prop prop-%02d room=Lighthouse cover_mm=6 drives=light board=%s", i, name))
		v := &benchBoard{name: name}
		if v.board, err = virtual.New(virtual.Config{
			Clock: b.clock, Seed: uint64(i), Fault: faults[name], Build: build, Controller: b.listen, LockStep: true, CountFrames: true, Silent: b.silent.Load,
		}); err != nil {
			t.Fatal(err)
		}
		if v.line, err = virtual.NewPtyLine(b.port); err != nil {
			t.Fatal(err)
		}
		p, err := checklist.BuiltinProcedure(checklist.ProcedureNew)
		if err != nil {
			t.Fatal(err)
		}
		answers, err := readAnswers("answers", strings.NewReader(demoAnswersTo(p)), p)
		if err != nil {
			t.Fatal(err)
		}
		v.hands = &virtualHands{hands: virtual.NewHands(v.board, b.clock), next: answersFile{name: "Ada Bench", answers: answers, next: onlooker{}}}
		t.Cleanup(func() { v.board.Close() })
		b.boards[name] = v
		b.queue = append(b.queue, name)
	}
	err = b.site.store.Change(t.Context(), func(p *plan.Plan) error {
		for _, thing := range things {
			words := strings.Fields(thing)
			if err := p.Add(plan.Kind(words[0]), words[1], words[2:]...); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// take begins a batch, or goes on with the last, and runs it.
func (b *batchBench) take(ctx context.Context, resume bool, props ...string) (checklist.Verdict, error) {
	b.t.Helper()
	d := testDeps()
	d.out, d.err = &b.out, &b.out
	o := batchOptions{commissionOptions: commissionOptions{procedure: checklist.ProcedureNew, port: b.port, listen: b.listen, signer: "Ada Bench", resume: resume}}
	file, err := chooseBatch(ctx, b.site, o, props)
	if err != nil {
		b.t.Fatal(err)
	}
	signing, err := signingOf(b.site.Folder, d, o.signer, "technician", "")
	if err != nil {
		b.t.Fatal(err)
	}
	signing.issued = b.clock.Now
	b.batch = &batch{d: d, file: file, site: b.site, signing: signing, clock: b.clock, people: cast{person: b}}
	wording, err := parsers.Auto()
	if err != nil {
		b.t.Fatal(err)
	}
	b.batch.equip = func(folder *runFolder, item checklist.Item) (cast, error) {
		c := cast{clock: b.clock, item: item, virtual: true, wording: wording, port: &portPlan{options: b.options()}}
		c.listen = &link.Config{Addr: b.listen, Base: item.Controller.Base, Clock: b.clock, CountFrames: true, Muted: &b.silent}
		c.decided = func(dec checklist.Decision) { printDecision(d.out, d.err, false, dec) }
		return c, nil
	}
	b.batch.part = func(run *conduct) error {
		if b.in == nil {
			return run.Close()
		}
		return partFrom(b.t, run, b.in.board)
	}
	if b.batch.door, err = openDoor(ctx, b.batch, func() (*portPlan, error) { return &portPlan{options: b.options()}, nil }); err != nil {
		b.t.Fatal(err)
	}
	verdict, err := b.batch.run(ctx)
	return verdict, errors.Join(err, b.batch.Close())
}

// options open the port of the board that is in the socket.
func (b *batchBench) options() serialmon.Options {
	o := serialmon.Options{Open: serialmon.OpenSerial, Name: b.port, Speed: 115200}
	if b.in != nil {
		o.Open, o.Notice = b.in.line.Opener(serialmon.OpenSerial), b.in.board.Noticed
	}
	return o
}

var errEndOfDay = errors.New("end of the day")

// Instruct changes boards itself and leaves the rest to the hands at the one that is
// in the socket.
func (b *batchBench) Instruct(ctx context.Context, in checklist.Instruction) error {
	if in.Act != checklist.ActNext {
		if b.in == nil {
			return nil // nothing to do with hands yet
		}
		return b.in.hands.Instruct(ctx, in)
	}
	b.told = append(b.told, in.Text)
	if b.in != nil {
		out := false
		if _, err := b.in.board.Do(virtual.Request{Op: virtual.OpUSB, In: &out}); err != nil {
			return err
		}
		if at := b.batch.door.board; at != nil {
			if err := at.awaitLost(ctx); err != nil {
				return err
			}
		}
		b.in = nil
	}
	if len(b.queue) == 0 {
		return errors.New("no board is left to be plugged in")
	}
	next := b.boards[b.queue[0]]
	if b.queue[0] == b.abort {
		b.abort = ""
		return errEndOfDay
	}
	b.queue = b.queue[1:]
	b.in = next
	if !next.connected {
		next.connected = true
		return next.board.Connect(next.line)
	}
	in2 := true
	_, err := next.board.Do(virtual.Request{Op: virtual.OpUSB, In: &in2})
	return err
}

// Ask answers which board it is, and leaves all else to who answers for it.
func (b *batchBench) Ask(ctx context.Context, q checklist.Question) (checklist.Answer, error) {
	b.asked = append(b.asked, q)
	if q.Key == "board" {
		label := b.labels[0]
		b.labels = b.labels[1:]
		return checklist.Answer{Text: label, By: "Ada Bench"}, nil
	}
	at := b.in
	if at == nil {
		at = b.boards["rdr-01"] // before the first is plugged in any will do
	}
	return at.hands.Ask(ctx, q)
}

func (b *batchBench) asks(key string) (n int) {
	for _, q := range b.asked {
		if q.Key == key {
			n++
		}
	}
	return n
}

func (b *batchBench) summary() summary {
	b.t.Helper()
	text, err := os.ReadFile(filepath.Join(b.batch.file.dir, batchSummary))
	if err != nil {
		b.t.Fatal(err)
	}
	var sum summary
	if err := json.Unmarshal(text, &sum); err != nil {
		b.t.Fatal(err)
	}
	return sum
}

// Ten boards, of which three fail, each at the step that the command contract's table
// of faults gives for its fault, and one is a clone that passes. They come in an order
// of their own; one board that is done comes once more, and one of another prop.
func TestABatchOfTenOfWhichThreeFail(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a quarter of a minute")
	}
	faults := map[string]string{"rdr-03": "loose-joint", "rdr-05": "short-range", "rdr-08": "coil-plus-one", "rdr-06": "clone-chip"}
	b := newBatchBench(t, 11, faults)
	bench := []string{"rdr-07", "rdr-02", "rdr-11", "rdr-10", "rdr-10", "rdr-01", "rdr-03", "rdr-04", "rdr-05", "rdr-06", "rdr-08", "rdr-09"}
	ranged := []string{"rdr-09", "rdr-03", "rdr-06", "rdr-05", "rdr-04", "rdr-01", "rdr-02", "rdr-07", "rdr-10"}
	b.queue = append(bench, ranged...)
	var props []string
	for i := 1; i <= 10; i++ {
		props = append(props, fmt.Sprintf("prop-%02d", i))
	}
	verdict, err := b.take(t.Context(), false, props...)
	if err != nil {
		t.Fatalf("%v\n%s", err, &b.out)
	}
	if verdict != checklist.Failed || len(b.queue) > 0 {
		t.Errorf("verdict %q, never asked for %v", verdict, b.queue)
	}
	failsAt := map[string]string{"rdr-03": "reader-chip:", "rdr-05": "range:", "rdr-08": "link:"}
	sum := b.summary()
	for _, s := range sum.Boards {
		want := checklist.Passed
		if failsAt[s.Board] != "" {
			want = checklist.Failed
			if len(s.Causes) == 0 || !strings.HasPrefix(s.Causes[0], failsAt[s.Board]) {
				t.Errorf("%s failed by %q, want step %s", s.Board, s.Causes, failsAt[s.Board])
			}
		}
		if s.Verdict != want || !s.Reported {
			t.Errorf("%s: %s, reported %t; want %s and a report", s.Board, s.Verdict, s.Reported, want)
		}
	}
	signers := map[string]int{}
	for _, m := range b.batch.file.Members {
		dir := filepath.Join(b.site.Reports(), runName(m.Run, m.Prop))
		if status, said := verifyStatus(t, dir); status != statusDone {
			t.Errorf("verify %s: status %d\n%s", m.Board, status, said)
		}
		bench := simBench{t: t, dir: dir}
		signers[bench.report().Signer.Name]++
	}
	if !maps.Equal(signers, map[string]int{"Ada Bench": 10}) {
		t.Errorf("signed by %v, want all ten by one name", signers)
	}
	if n := b.asks(checklist.SignQuestion); n != 1 {
		t.Errorf("asked %d times to sign, want once for all", n)
	}
	chips := []string{}
	for _, s := range sum.StandOuts {
		if s.Step == "reader-chip" && s.What == "chip version" {
			chips = append(chips, s.Board)
		}
	}
	if !slices.Contains(chips, "rdr-06") {
		t.Errorf("the clone does not stand out: %+v", sum.StandOuts)
	}
	told := strings.Join(b.told, "\n")
	for _, want := range []string{"This is board rdr-11 of prop prop-11, which is not in this batch", "This is board rdr-10, which has nothing open here", "This is board rdr-03, which has nothing open here"} {
		if !strings.Contains(told, want) {
			t.Errorf("never told %q:\n%s", want, told)
		}
	}
	if t.Failed() {
		t.Log(b.out.String())
	}
}

// A batch that ends in the middle goes on with the boards that are left; a board that
// prints nothing that can be read is taken at its label's word, and that is on record.
func TestABatchIsGoneOnWithAndAMuteBoardIsNamed(t *testing.T) {
	b := newBatchBench(t, 3, map[string]string{"rdr-02": "wrong-speed"})
	b.queue, b.abort = []string{"rdr-01", "rdr-03"}, "rdr-03"
	if _, err := b.take(t.Context(), false, "prop-01", "prop-02", "prop-03"); !errors.Is(err, errEndOfDay) {
		t.Fatalf("%v; want it broken off", err)
	}
	before := b.decided()
	b.queue = []string{"rdr-03", "rdr-02", "rdr-03", "rdr-01"}
	b.labels = []string{"rdr-07", "rdr-02"}
	verdict, err := b.take(t.Context(), true)
	if err != nil || verdict != checklist.Failed {
		t.Fatalf("%s, %v; want failed, for one has the wrong speed\n%s", verdict, err, &b.out)
	}
	for place, n := range b.decided() {
		if n != 1 {
			t.Errorf("%s decided %d times", place, n)
		}
	}
	if before["prop-01 master"] != 1 || before["prop-03 master"] != 0 {
		t.Errorf("before the break: %v", before)
	}
	verdicts := map[string]checklist.Verdict{}
	for _, s := range b.summary().Boards {
		verdicts[s.Board] = s.Verdict
	}
	want := map[string]checklist.Verdict{"rdr-01": checklist.Passed, "rdr-02": checklist.Failed, "rdr-03": checklist.Passed}
	if diff := cmp.Diff(want, verdicts); diff != "" {
		t.Errorf("verdicts (-want +got):\n%s\n%s", diff, &b.out)
	}
	if n := b.asks("board"); n != 2 {
		t.Errorf("asked %d times which board it is, want twice: one answer names none of them", n)
	}
	folder, err := b.batch.file.folder(b.batch.file.Members[1])
	if err != nil {
		t.Fatal(err)
	}
	defer folder.journal.Close()
	if !slices.ContainsFunc(folder.entries, func(e checklist.Entry) bool { return strings.Contains(e.Note, "is the word of Ada Bench") }) {
		t.Error("the run does not say that its board was named by a person")
	}
}

// decided counts the verdicts on record by prop and step.
func (b *batchBench) decided() map[string]int {
	b.t.Helper()
	decided := map[string]int{}
	for _, m := range b.batch.file.Members {
		folder, err := b.batch.file.folder(m)
		if err != nil {
			b.t.Fatal(err)
		}
		for _, e := range folder.entries {
			if e.Outcome != nil {
				decided[m.Prop+" "+e.Step]++
			}
		}
		folder.journal.Close()
	}
	return decided
}
