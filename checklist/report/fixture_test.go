package report_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"propwright/checklist"
	"propwright/checklist/report"
	"propwright/parsers"
)

// The invented run's tags. The stranger is on no list and in no plan.
const (
	masterUID   = "04A1B2C3D4E5F6"
	showUID     = "5C0A91E3"
	strangerUID = "7D00F24B"
)

// A run builds a log as an engine would, with the console bytes beside it.
type run struct {
	t       *testing.T
	at      time.Time
	entries []checklist.Entry
	console bytes.Buffer
	sitting checklist.Sitting
	step    string
}

// planned is the procedure of the invented run.
func planned() []checklist.Step {
	step := func(s checklist.Sitting, id, title string, rests ...string) checklist.Step {
		return checklist.Step{ID: id, Title: title, Sitting: s, Check: id, RestsOn: rests}
	}
	wiring := step(checklist.Bench, "wiring", "Wiring and supply", "soldering", "leads", "supply")
	wiring.Cautions = []checklist.Caution{
		{Text: "Measure the adapter's voltage and polarity before the first connection.", Protects: "a board burnt by a wrong adapter"},
		{Text: "One source at a time: USB and an own supply together can feed back into each other."},
	}
	return []checklist.Step{
		wiring,
		step(checklist.Bench, "attach", "Console and clean boot", "board"),
		step(checklist.Bench, "settings", "Settings as planned", "settings"),
		step(checklist.Bench, "cards", "Cards", "board"),
		step(checklist.Bench, "range", "Read range", "tag", "object", "cover"),
		step(checklist.Site, "range", "Read range", "tag", "object", "cover"),
		step(checklist.Site, "link", "Coil at the controller", "settings", "network"),
		step(checklist.Site, "sign-off", "Sign-off"),
	}
}

func newRun(t *testing.T) *run {
	r := &run{t: t, at: time.Date(2026, 11, 25, 9, 30, 0, 123456789, time.UTC)}
	r.add(checklist.Entry{Type: checklist.EntryRun, Run: &checklist.RunHeader{
		Number: 7, Program: "propwright 0.1.0", Procedure: "new", Digest: "sha256:" + strings.Repeat("3f", 32),
		Clock: "real", Computer: "linux/amd64", Item: checklist.Item{
			Site: "The Tidewater Rooms", Prop: "harbour-bell", Room: "Lighthouse", Place: "left of the stairs", Drives: "light", CoverMM: 6,
			Board: checklist.BoardPlan{
				Asset: "rdr-07", MAC: "02:54:57:00:00:57", IP: "10.77.0.57", Mask: "255.255.255.0", Gateway: "10.77.0.1", Firmware: "larkspur 3.2.0",
				Speed: 115200, Polarity: "active-high", Leaving: "reported", Lamps: []string{"red", "green", "blue"}, SupplyV: 5,
			},
			Readers:    []checklist.Reader{{Index: 0, Coil: 117, Behaviour: "follows"}},
			Controller: checklist.Controller{Name: "bay-1", Address: "10.77.0.10", Port: 502, Unit: 1, Base: 1},
			Taken:      []checklist.Claim{{Setting: parsers.SettingCoil, Value: "118", Owner: "chart-table"}},
			Tags:       []checklist.Tag{{UID: masterUID, Role: "master", Whose: "the keeper of the keys", Form: "fob", State: "in use"}},
		},
	}})
	return r
}

func (r *run) add(e checklist.Entry) checklist.Entry {
	r.at = r.at.Add(731 * time.Millisecond)
	e.N, e.At, e.Sitting, e.Step = int64(len(r.entries))+1, r.at, r.sitting, r.step
	r.entries = append(r.entries, e)
	return e
}

// line is a line of the console, with the tag that it names.
func (r *run) line(kind parsers.Kind, text, uid string, fields map[string]string) checklist.Entry {
	r.t.Helper()
	n := len(r.entries)
	fields = maps.Clone(fields)
	if uid != "" {
		if _, err := parsers.ParseUID(uid); err != nil {
			r.t.Fatalf("ParseUID(%q): %v", uid, err)
		}
		if fields == nil {
			fields = map[string]string{}
		}
		fields["uid"] = uid
	}
	ev := parsers.Event{
		Seq: uint64(n), First: r.at.Add(2 * time.Millisecond), Last: r.at.Add(5 * time.Millisecond), Kind: kind,
		Reader: parsers.NoReader, Lines: [2]int{n, n}, Offset: int64(r.console.Len()),
		Raw: []byte(text), End: "\r\n", Profile: "plain",
	}.Holding(fields)
	r.console.WriteString(text + "\r\n")
	return r.add(checklist.Entry{Type: checklist.EntryEvent, Event: &ev})
}

func (r *run) begin(s checklist.Sitting, id string) {
	r.sitting, r.step = s, id
	r.add(checklist.Entry{Type: checklist.EntryBegin})
}

func (r *run) decide(v checklist.Verdict, findings ...checklist.Finding) {
	r.add(checklist.Entry{Type: checklist.EntryVerdict, Outcome: &checklist.Outcome{
		Verdict: v, Findings: findings, Attempts: 1, Seconds: 12.5,
	}})
	r.sitting, r.step = "", ""
}

func (r *run) answer(key, text string, value *float64, unit string) checklist.Entry {
	return r.add(checklist.Entry{Type: checklist.EntryAnswer, Answer: &checklist.Answer{
		Question: checklist.Question{Step: r.step, Key: key, Kind: checklist.AskConfirm, Text: "What does the meter show?"},
		Text:     text, Value: value, Unit: unit, By: "R. Mole",
	}})
}

func ptr[T any](v T) *T { return &v }

// bench is the bench sitting of the run, with a note on the adapter and a board
// that prints what it should not.
func (r *run) bench() {
	r.begin(checklist.Bench, "wiring")
	volts := r.answer("volts", "", ptr(5.02), "V")
	header := r.answer("header", "yes", nil, "")
	r.decide(checklist.Passed,
		checklist.Finding{What: "adapter voltage", Verdict: checklist.Passed, How: checklist.Stated, Value: checklist.Number(5.02, "V", "5.02 V"), Limit: ptr(checklist.Text("4.75 to 5.25 V")), Rests: checklist.RefsOf(volts)},
		checklist.Finding{What: "header soldered on every pin", Verdict: checklist.Passed, How: checklist.Stated, Value: checklist.Text("yes"), Rests: checklist.RefsOf(header), Caution: "A tight fit is no joint."})

	r.begin(checklist.Bench, "attach")
	attached := parsers.Event{Seq: 1, Kind: parsers.KindAttached, Reader: parsers.NoReader, First: r.at, Last: r.at}.Holding(map[string]string{"port": "ttyUSB0", "speed": "115200"})
	r.add(checklist.Entry{Type: checklist.EntryEvent, Event: &attached})
	boot := r.line(parsers.KindBoot, "---- start ----", "", nil)
	fw := r.line(parsers.KindFirmware, "firmware larkspur 3.2.0", "", map[string]string{"name": "larkspur", "version": "3.2.0"})
	r.decide(checklist.Passed,
		checklist.Finding{What: "clean boot", Verdict: checklist.Passed, How: checklist.Measured, Value: checklist.Number(1, "1", "1 in 12 s"), Limit: ptr(checklist.Number(1, "1", "one")), Rests: checklist.RefsOf(boot)},
		checklist.Finding{What: "firmware", Verdict: checklist.Passed, How: checklist.Measured, Value: checklist.Text("larkspur 3.2.0"), Limit: ptr(checklist.Text("larkspur 3.2.0")), Rests: checklist.RefsOf(fw)})

	r.begin(checklist.Bench, "settings")
	coil := r.line(parsers.KindSetting, "setting coil = 117", "", map[string]string{"name": "coil", "value": "117"})
	r.line(parsers.KindSetting, "master tag on file: 04 A1 B2 C3 D4 E5 F6", "", map[string]string{"name": "master", "value": masterUID})
	r.decide(checklist.NotConfirmed,
		checklist.Finding{What: "coil", Verdict: checklist.Passed, How: checklist.Measured, Value: checklist.Text("117"), Limit: ptr(checklist.Text("117")), Rests: checklist.RefsOf(coil)},
		checklist.Finding{What: "gateway", Verdict: checklist.NotConfirmed, How: checklist.Planned, Value: checklist.Text("not echoed"), Limit: ptr(checklist.Text("10.77.0.1")), Note: "The board does not say which gateway it uses."})

	r.begin(checklist.Bench, "cards")
	added := r.line(parsers.KindCardAdded, "card 5C 0A 91 E3 added", showUID, nil)
	refused := r.line(parsers.KindCardRefused, "card 7d:00:f2:4b refused", strangerUID, nil)
	evil := r.line(parsers.KindUnknown, "\x1b[31m<script>alert(1)</script> \xff ready", "", nil)
	r.add(checklist.Entry{Type: checklist.EntryMeasure, Measure: &checklist.Measure{Name: "tag-role", Value: 1, Unit: "1", Params: map[string]string{"role": checklist.RoleShow, "uid": showUID}}})
	r.decide(checklist.Passed,
		checklist.Finding{What: "unknown card added", Verdict: checklist.Passed, How: checklist.Measured, Value: checklist.Text("added " + showUID), Rests: checklist.RefsOf(added)},
		checklist.Finding{What: "stranger refused", Verdict: checklist.Passed, How: checklist.Measured, Value: checklist.Text("refused"), Rests: checklist.RefsOf(refused, evil), Note: "Its print is 7d00f24b; as a number, 2097214027."})

	r.begin(checklist.Bench, "range")
	trials := r.add(checklist.Entry{Type: checklist.EntryMeasure, Measure: &checklist.Measure{Name: "trials", Value: 20, Unit: "1", Params: map[string]string{"spacing_mm": "6", "read": "20"}}})
	r.decide(checklist.Passed, checklist.Finding{
		What: "reads at the cover", Verdict: checklist.Passed, How: checklist.Measured,
		Value: checklist.Quantity{Number: ptr(1.0), Unit: "1", Text: "20 of 20", Low: ptr(0.8609), Level: 0.95},
		Limit: ptr(checklist.Text("0.80 or more, one-sided")), Rests: checklist.RefsOf(trials),
		Curve: &checklist.Curve{
			Trials: []checklist.CurveTrial{{SpacingMM: 6, Presented: 20, Read: 20, Low: 0.839, High: 1}},
			Line:   []checklist.CurvePoint{{SpacingMM: 0, Rate: 1, Low: 0.9, High: 1}, {SpacingMM: 8, Rate: 0.9, Low: 0.6, High: 1}},
			Level:  0.95, CoverMM: ptr(6.0),
		},
	})
}

// site is the site sitting; the coil comes late, which is only noted.
func (r *run) site() {
	r.add(checklist.Entry{Type: checklist.EntryRun, Run: &checklist.RunHeader{Number: 7, Program: "propwright 0.1.0", Procedure: "new", Clock: "real", Resumed: true, Away: "26 h"}})
	r.add(checklist.Entry{Type: checklist.EntryExpire, Changed: []string{"cover"}})
	r.begin(checklist.Site, "link")
	on := r.add(checklist.Entry{Type: checklist.EntryFrame, Frame: &checklist.Frame{At: r.at, Kind: checklist.FrameRequest, Conn: 1, Peer: "10.77.0.57:49152", Unit: 1, Function: 5, Address: 116, Coil: 117, Values: []int{1}, Answer: "ok", Request: "00010000000601050074ff00", Reply: "00010000000601050074ff00"}})
	written := r.line(parsers.KindCoilWritten, "coil 117 written on", "", map[string]string{"coil": "117", "value": "on"})
	r.add(checklist.Entry{Type: checklist.EntryNote, Note: "the room was empty and watched"})
	r.decide(checklist.Passed,
		checklist.Finding{What: "right coil on", Verdict: checklist.Passed, How: checklist.Measured, Value: checklist.Text("coil 117"), Limit: ptr(checklist.Text("coil 117")), Rests: checklist.RefsOf(on, written)},
		checklist.Finding{What: "delay, tag to coil", Verdict: checklist.Passed, How: checklist.Measured, Value: checklist.Number(0.62, "s", "0.62 s"), Limit: ptr(checklist.Number(1, "s", "1 s, a note over 0.5 s")), Note: "Slower than usual.", Rests: checklist.RefsOf(on, written)})
}

// rebuilt are the steps that a failing rerun leaves: the bench range fails.
func (r *run) failRange() {
	r.begin(checklist.Bench, "range")
	m := r.add(checklist.Entry{Type: checklist.EntryMeasure, Measure: &checklist.Measure{Name: "trials", Value: 20, Unit: "1", Params: map[string]string{"spacing_mm": "6", "read": "3"}}})
	r.decide(checklist.Failed, checklist.Finding{
		What: "reads at the cover", Verdict: checklist.Failed, How: checklist.Measured, Value: checklist.Number(0.15, "1", "3 of 20"),
		Limit: ptr(checklist.Text("0.80 or more")), Note: "The range ends before the cover does.", Rests: checklist.RefsOf(m),
	})
}

// inputs are those of a sitting.
func inputs(s checklist.Sitting) report.Inputs {
	return report.Inputs{
		Signer:  report.Signer{Name: "R. Mole", Role: "technician", Principal: "mole@tidewater"},
		Sitting: s, Issued: time.Date(2026, 11, 25, 10, 15, 0, 0, time.UTC),
		Fingerprint: []byte("a key of the site's, for a test only"),
		Limitations: []string{"Doors were not part of this prop."},
	}
}

// fixedRandom gives the same key in each test; it is no source of secrets.
type fixedRandom byte

func (f fixedRandom) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = byte(f) + byte(i)
	}
	return len(p), nil
}

func newKey(t *testing.T, random fixedRandom, comment string) report.Key {
	t.Helper()
	k, err := report.NewKey(random, comment)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// lay puts the run's own records in dir, as a commissioning leaves them.
func (r *run) lay(dir string) {
	r.t.Helper()
	var journal, arrivals bytes.Buffer
	arrivals.WriteString("offset,time\n")
	for _, e := range r.entries {
		line, err := json.Marshal(e)
		if err != nil {
			r.t.Fatal(err)
		}
		journal.Write(append(line, '\n'))
		if e.Event != nil && e.Event.Size() > 0 {
			fmt.Fprintf(&arrivals, "%d,%s\n", e.Event.Offset, e.Event.First.Format(time.RFC3339Nano))
		}
	}
	for name, content := range map[string][]byte{
		report.FileJournal: journal.Bytes(), report.FileConsole: r.console.Bytes(),
		report.FileArrivals: arrivals.Bytes(), report.FileProcedure: []byte("name = \"new\"\n"),
	} {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o600); err != nil {
			r.t.Fatal(err)
		}
	}
}

// bundle writes both sittings of the invented run and returns the folder.
func bundle(t *testing.T) (dir string, m report.Model) {
	t.Helper()
	dir = t.TempDir()
	key := newKey(t, 1, "bench key")
	r := newRun(t)
	r.bench()
	r.lay(dir)
	if _, err := report.Write(dir, r.entries, planned(), inputs(checklist.Bench), key); err != nil {
		t.Fatal(err)
	}
	r.site()
	r.lay(dir)
	m, err := report.Write(dir, r.entries, planned(), inputs(checklist.Site), key)
	if err != nil {
		t.Fatal(err)
	}
	return dir, m
}

func read(t *testing.T, dir, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}
