package link_test

import (
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"propwright/checklist"
	"propwright/checklist/checklisttest"
	"propwright/checklist/link"
	"propwright/parsers"
)

const steps = `
name = "link"
[[step]]
id = "link"
sitting = "bench"
check = "link"
[step.params]
connect_within = 30.0
presentations = 5
delay_pass_s = 0.5
delay_fail_s = 1.0
off_within = 5.0
recover_within = 30.0
[[step]]
id = "link"
sitting = "site"
check = "link"
[step.params]
connect_within = 30.0
presentations = 5
delay_pass_s = 0.5
delay_fail_s = 1.0
off_within = 5.0
recover_within = 30.0
[[step]]
id = "in-service"
sitting = "site"
check = "in-service"
rests_on = ["supply"]
[step.params]
start_within = 60.0
cold_starts = 10
off_for = 5.0
on_within = 5.0
off_within = 5.0
[[step]]
id = "recovery"
sitting = "bench"
check = "link-recovery"
[step.params]
connect_within = 30.0
recover_within = 30.0
away_for = 5.0
silent_for = 8.0
drops = 200
drops_within = 3600.0
on_within = 5.0
off_within = 5.0
[[step]]
id = "clean-up"
sitting = "site"
check = "clean-up-site"
[step.params]
on_within = 5.0
off_within = 5.0
`

const uid = "04A1B2C3D4E5F6"

// A desk is a scripted board at a scripted controller: what both say some time
// after hands have done something. Its zero fields are a board without fault.
type desk struct {
	rig *checklisttest.Rig

	coil       int           // that it writes, 117 in the plan
	unit       int           // that it writes to
	delay      time.Duration // from the console's word of the tag to the write; 90 ms unless set
	answer     string        // of the controller; "ok" unless set
	staysOn    bool
	pulse      time.Duration // how long the coil is on, where it does not follow
	toggles    bool
	refuses    bool // the reader takes no card
	unread     bool // the reader reads nothing
	deaf       bool // nothing is ever written
	noLink     bool // no cable
	dials      string
	stuck      bool // never comes back after a cable pull
	oblivious  bool // notices nothing of a cable pull
	lateReturn bool // comes back to a controller only when it has something to write
	starts     func(n int) bool
	sockets    int  // that the board never frees; 0 for one that does
	hangs      bool // once a write has no answer, it waits for ever

	mu              sync.Mutex
	conn            uint64 // number of the open connection; 0 for none
	conns, powerups int
	usbOut, powered bool // powered: by its own supply
	paused          bool
	muted, hung     bool
	lit             bool
	placed          int
}

func item() checklist.Item {
	return checklist.Item{
		Site: "The Tidewater Rooms", Prop: "harbour-bell", Room: "Lighthouse", Drives: "light", CoverMM: 6,
		Board:      checklist.BoardPlan{Asset: "rdr-07", IP: "10.77.0.57", Leaving: "reported"},
		Readers:    []checklist.Reader{{Coil: 117, Behaviour: "follows"}},
		Controller: checklist.Controller{Name: "bay-1", Address: "10.77.0.10", Port: 502, Unit: 1, Base: 1},
		Taken:      []checklist.Claim{{Setting: parsers.SettingCoil, Value: "118", Owner: "chart-table"}},
	}
}

// newDesk puts the board before an engine; change may spoil board and plan.
func newDesk(t *testing.T, earlier []checklist.Entry, change func(*desk, *checklist.Item)) *desk {
	t.Helper()
	d := &desk{coil: 117, unit: 1, delay: 90 * time.Millisecond, answer: "ok"}
	it := item()
	if change != nil {
		change(d, &it)
	}
	d.rig = checklisttest.NewRig(t, steps, it, checklist.Checks{
		"link": link.Check{StandIn: d}, "in-service": link.InService{StandIn: d}, "link-recovery": link.Recovery{StandIn: d}, "clean-up-site": link.CleanUpSite{StandIn: d},
	}, earlier)
	d.rig.Person.Hands = d.hands
	for _, e := range earlier {
		if e.Frame != nil {
			d.conns = max(d.conns, int(e.Frame.Conn))
		}
		if e.Instruct != nil {
			d.source(e.Instruct.Act)
		}
	}
	return d
}

// source follows where the board's power comes from.
func (d *desk) source(act checklist.Act) {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch act {
	case checklist.ActUSBOut:
		d.usbOut = true
	case checklist.ActSupplyOn, checklist.ActSupplyOff:
		d.powered = act == checklist.ActSupplyOn
	}
}

// comeBack connects the board some time later, if it has power by then.
func (d *desk) comeBack(after time.Duration) {
	d.rig.After(after, func() {
		d.mu.Lock()
		on := d.powered || !d.usbOut
		d.mu.Unlock()
		if on {
			d.connect()
		}
	})
}

// run walks one step, with the board connected before it begins unless it cannot.
func (d *desk) run(t *testing.T, sitting checklist.Sitting, id string) (checklist.Outcome, error) {
	t.Helper()
	d.rig.Engine.Procedure.Steps = slices.DeleteFunc(d.rig.Engine.Procedure.Steps, func(s checklist.Step) bool { return s.ID != id || s.Sitting != sitting })
	if d.usbOut {
		d.comeBack(4 * time.Second) // to the stand-in of the new process
	} else {
		d.boot()
	}
	outcomes, err := d.rig.Run(t.Context(), sitting)
	return outcomes[id], err
}

// boot is what the console says at start and soon after.
func (d *desk) boot() {
	d.rig.Event(parsers.KindBoot)
	switch {
	case d.noLink:
		d.rig.Event(parsers.KindLinkDown)
	case d.dials != "":
		d.rig.Event(parsers.KindLinkUp)
		d.rig.After(5*time.Second, func() { d.rig.Event(parsers.KindControllerDown, "address", d.dials) })
	default:
		d.rig.Event(parsers.KindLinkUp)
		d.connect()
	}
}

func (d *desk) connect() {
	d.mu.Lock()
	if d.conn != 0 || d.sockets > 0 && d.conns >= d.sockets {
		d.mu.Unlock()
		return
	}
	d.conns++
	d.conn = uint64(d.conns)
	f := checklist.Frame{Kind: checklist.FrameConnected, Conn: d.conn, Peer: "10.77.0.57:50001", Address: -1, Coil: -1}
	d.mu.Unlock()
	d.rig.Frame(f)
}

func (d *desk) hangUp() {
	d.mu.Lock()
	f := checklist.Frame{Kind: checklist.FrameClosed, Conn: d.conn, Peer: "10.77.0.57:50001", Address: -1, Coil: -1}
	d.conn = 0
	d.mu.Unlock()
	if f.Conn != 0 {
		d.rig.Frame(f)
	}
}

// write sets the coil at the controller, if there is a connection.
func (d *desk) write(on bool) {
	d.mu.Lock()
	lost := d.conn == 0
	d.mu.Unlock()
	if lost && d.lateReturn {
		d.connect()
	}
	value, answer := 0, d.answer
	d.mu.Lock()
	conn, hung := d.conn, d.hung
	d.lit = on
	if d.muted && conn != 0 {
		answer = ""
		d.hung = d.hangs
	}
	d.mu.Unlock()
	if conn == 0 || d.deaf || hung {
		return
	}
	if on {
		value = 1
	}
	d.rig.Frame(checklist.Frame{
		Kind: checklist.FrameRequest, Conn: conn, Peer: "10.77.0.57:50001", Unit: d.unit, Function: 5,
		Address: d.coil - 1, Coil: d.coil, Values: []int{value}, Answer: answer,
	})
}

// Pause takes the controller away.
func (d *desk) Pause() error {
	d.hangUp()
	d.paused = true
	return nil
}

// Mute has it take writes and not answer.
func (d *desk) Mute(on bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.muted = on
}

// Drop ends the board's connection.
func (d *desk) Drop() error {
	d.hangUp()
	if !d.lateReturn {
		d.comeBack(4 * time.Second)
	}
	return nil
}

// Resume brings it back.
func (d *desk) Resume() error {
	if d.paused && !d.lateReturn {
		d.comeBack(4 * time.Second)
	}
	d.paused = false
	return nil
}

func (d *desk) hands(in checklist.Instruction) {
	d.source(in.Act)
	switch in.Act {
	case checklist.ActPlace:
		d.rig.After(100*time.Millisecond, d.place)
	case checklist.ActTake:
		d.rig.After(100*time.Millisecond, d.take)
	case checklist.ActCableOut:
		if !d.oblivious {
			d.rig.After(time.Second, func() { d.rig.Event(parsers.KindLinkDown) })
			d.rig.After(2*time.Second, d.hangUp)
		}
	case checklist.ActCableIn:
		if !d.oblivious {
			d.rig.After(time.Second, func() { d.rig.Event(parsers.KindLinkUp) })
		}
		if !d.stuck && !d.oblivious {
			d.rig.After(3*time.Second, d.connect)
		}
	case checklist.ActUSBOut:
		d.rig.After(time.Second, func() { d.rig.Host(parsers.KindDetached); d.hangUp() })
	case checklist.ActSupplyOff:
		d.rig.After(time.Second, d.hangUp)
	case checklist.ActSupplyOn:
		d.mu.Lock()
		d.powerups++
		n := d.powerups
		d.mu.Unlock()
		if d.starts == nil || d.starts(n) {
			d.comeBack(3 * time.Second)
		}
	}
}

func (d *desk) place() {
	d.mu.Lock()
	d.placed++
	on := true
	if d.toggles {
		on = !d.lit
	}
	d.mu.Unlock()
	if d.unread {
		return
	}
	if d.delay < 0 { // the frame overtakes the console's line
		d.write(on)
		d.rig.After(-d.delay, d.tell)
		return
	}
	d.tell()
	if d.refuses {
		return
	}
	d.rig.After(d.delay, func() { d.write(on) })
	if d.pulse > 0 {
		d.rig.After(d.delay+d.pulse, func() { d.write(false) })
	}
}

func (d *desk) tell() {
	d.rig.Event(parsers.KindTagPresent, "uid", uid)
	if d.refuses {
		d.rig.Event(parsers.KindCardRefused, "uid", uid)
		return
	}
	d.rig.Event(parsers.KindCardAccepted, "uid", uid)
}

func (d *desk) take() {
	if d.unread {
		return
	}
	d.rig.Event(parsers.KindTagAbsent, "uid", uid)
	if !d.staysOn && !d.toggles && d.pulse == 0 && !d.refuses {
		d.rig.After(80*time.Millisecond, func() { d.write(false) })
	}
}

// said finds the finding that holds all words in what it looked at, its value or
// its note.
func said(o checklist.Outcome, words ...string) (checklist.Finding, bool) {
	for _, f := range o.Findings {
		text := f.What + " " + f.Value.Text + " " + f.Note
		if !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(text, w) }) {
			return f, true
		}
	}
	return checklist.Finding{}, false
}

// values are the findings of an outcome in short.
func values(o checklist.Outcome) (texts []string) {
	for _, f := range o.Findings {
		texts = append(texts, string(f.Verdict)+": "+f.What+": "+f.Value.Text)
	}
	return texts
}
