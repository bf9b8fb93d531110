package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"propwright/checklist"
	"propwright/checklist/link"
	"propwright/parsers"
	"propwright/serialmon"
	"propwright/serialmon/clock"
)

type linkPropOptions struct {
	linkOptions
	port        string
	speed       string
	noReset     bool
	wording     string
	socketsPort uint16
}

func (o *linkPropOptions) flags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.listen, "listen", "", "ADDR:PORT on which to stand in for the controller")
	f.StringVar(&o.to, "to", "", "with --listen: HOST:PORT of the real controller to pass on to")
	f.StringVar(&o.port, "port", "", "serial port of the board, to read its console beside")
	f.StringVar(&o.speed, "speed", "", "speed in baud (default: as the board is planned)")
	f.BoolVar(&o.noReset, "no-reset", false, "do not restart the board by opening its port, where the system allows")
	f.StringVar(&o.wording, "wording", "", "wording of the firmware (default: all built-in ones)")
	f.DurationVar(&o.during, "for", o.during, "how long to watch with --listen or --port")
	f.Uint16Var(&o.socketsPort, "sockets", 0, "a port that the board serves, to count how many connections it takes")
	f.StringVar(&o.roomClear, "room-clear", "", "yes: the room is empty and watched")
	f.BoolVar(&o.asJSON, "json", false, "print JSON")
	addSiteFlag(cmd, &o.site)
}

func (o linkPropOptions) check() error {
	switch {
	case o.to != "" && o.listen == "":
		return usageError{errors.New("link: --to needs --listen, the address that the board dials")}
	case o.roomClear != "" && o.roomClear != "yes":
		return usageError{fmt.Errorf("link: --room-clear %q: only yes lets a door or a motion be driven", o.roomClear)}
	case o.during <= 0 || o.during > tapLongest:
		return usageError{fmt.Errorf("link: --for %v: must be over 0 and within %v", o.during, tapLongest)}
	case o.listen != "":
		if err := checkHostPort("link: --listen", o.listen, 0); err != nil {
			return err
		}
	}
	if o.to != "" {
		return checkHostPort("link: --to", o.to, 1)
	}
	return nil
}

// A linkView is what there is to say of a prop's link.
type linkView struct {
	Prop       string           `json:"prop"`
	Controller string           `json:"controller"` // ADDRESS:PORT as planned
	Coil       string           `json:"coil"`       // as read at the controller before: on, off, or "" where it was not
	CoilAfter  string           `json:"coil_after"` // and after
	Cards      []link.BenchCard `json:"cards"`
	Probes     []link.Probe     `json:"probes"`
	Showings   []showingView    `json:"showings"`
	Untagged   int              `json:"untagged"` // writes without a tag, where a console told of tags
	Delay      *delayView       `json:"delay"`    // null where nothing was timed
	Requests   int              `json:"requests"`
	Faults     []link.Fault     `json:"faults"`
	Verdict    string           `json:"verdict"` // passed, failed, not confirmed
}

// A showingView is one tag as both sides told of it; what was not seen is null.
type showingView struct {
	Reader int        `json:"reader"`
	Came   *time.Time `json:"came"`
	On     *time.Time `json:"written"`
	Coil   int        `json:"coil"` // -1 where none was written
	DelayS *float64   `json:"delay_s"`
	OffByS *float64   `json:"off_by_s"` // how far off the delay may be
	Left   *time.Time `json:"left"`
	Off    *time.Time `json:"written_back"`
	Twice  int        `json:"again"`
}

type delayView struct {
	N      int     `json:"n"`
	Least  float64 `json:"least_s"`
	Median float64 `json:"median_s"`
	Most   float64 `json:"most_s"`
	OffBy  float64 `json:"off_by_s"`
}

// A bothSides takes in both sides of a link; it is safe for concurrent use.
type bothSides struct {
	mu      sync.Mutex
	entries []checklist.Entry
}

func (h *bothSides) add(e checklist.Entry) checklist.Entry {
	h.mu.Lock()
	defer h.mu.Unlock()
	e.N = int64(len(h.entries) + 1)
	if e.At.IsZero() {
		e.At = time.Now().UTC()
	}
	h.entries = append(h.entries, e)
	return e
}

func (h *bothSides) all() []checklist.Entry {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.Clone(h.entries)
}

func runLinkProp(ctx context.Context, d deps, o linkPropOptions) error {
	st, err := openPlan(ctx, d, o.site)
	if err != nil {
		return err
	}
	defer st.Close()
	item, err := itemOf(ctx, st, o.prop)
	if err != nil {
		return err
	}
	if item.Controller.Address == "" {
		return hintedError{usageError{fmt.Errorf("prop %q: its board has no controller in the plan", item.Prop)}, "propwright plan list boards"}
	}
	if o.listen != "" {
		if err := mayDrive("link", item, o.roomClear); err != nil {
			return err
		}
	}
	cards, err := networkCards()
	if err != nil {
		return toolError{what: "network cards", err: err}
	}
	v := linkView{Prop: item.Prop, Controller: net.JoinHostPort(item.Controller.Address, strconv.Itoa(item.Controller.Port))}
	if a, err := netip.ParseAddr(item.Controller.Address); err == nil {
		v.Cards = link.BenchCards(cards, a, maskBits(item.Board.Mask))
	}
	fmt.Fprintln(d.err, "looking at the network; nothing is written")
	v.Probes = probeNetwork(ctx, item, cards, o.socketsPort)
	read := o.listen == "" || o.to != ""
	if read {
		v.Coil = v.readCoil(ctx, item, o.to)
	}
	log := &bothSides{}
	if o.listen != "" || o.port != "" {
		if err := v.watch(ctx, d, o, st, item, log); err != nil {
			return err
		}
		if read {
			v.CoilAfter = v.readCoil(ctx, item, o.to)
		}
	}
	if err := context.Cause(ctx); err != nil {
		return err
	}
	v.judge(item, log.all(), cards, d.now())
	if o.asJSON {
		err = printJSON(d.out, v)
	} else {
		err = v.print(d)
	}
	if err != nil || v.Verdict == string(checklist.Passed) {
		return err
	}
	return errVerdict
}

// mayDrive refuses what may drive something in a room that the plan does not name, or
// that can hurt somebody.
func mayDrive(command string, item checklist.Item, roomClear string) error {
	switch item.Drives {
	case "":
		return hintedError{usageError{fmt.Errorf("%s: the plan does not say what prop %q drives", command, item.Prop)}, "propwright plan add prop " + item.Prop + " drives=light, or effect, door, motion"}
	case "door", "motion":
		if roomClear != "yes" {
			return hintedError{usageError{fmt.Errorf("%s: prop %q drives a %s, which may move", command, item.Prop, item.Drives)}, "--room-clear yes, once somebody has looked: the room is empty and watched, and stays so"}
		}
	}
	return nil
}

// probeNetwork asks who has the board's address and whether its gateway is there.
func probeNetwork(ctx context.Context, item checklist.Item, cards []link.Card, socketsPort uint16) (probes []link.Probe) {
	ip, err := netip.ParseAddr(item.Board.IP)
	if err != nil {
		return []link.Probe{{What: link.ProbeAddress, Target: item.Board.IP, Result: link.ProbeSkipped, Evidence: []string{"the plan has no address for the board"}}}
	}
	if socketsPort != 0 {
		probes = append(probes, link.ProbeSocketsAt(ctx, dialBoard, link.Ping, netip.AddrPortFrom(ip, socketsPort).String()))
	}
	card := facing(cards, ip)
	skip := func(why string) []link.Probe {
		return append(probes, link.Probe{What: link.ProbeAddress, Target: ip.String(), Result: link.ProbeSkipped, Evidence: []string{why}})
	}
	if card == nil {
		return skip("no network card of this computer is in the board's network")
	}
	ask, others := []netip.Addr{ip}, []string{}
	for _, c := range item.Taken {
		a, err := netip.ParseAddr(c.Value)
		if c.Setting == parsers.SettingIP && err == nil && a.Is4() && a != ip && inCard(*card, a) && len(ask) < mostAsked {
			ask, others = append(ask, a), append(others, a.String())
		}
	}
	gateway, err := netip.ParseAddr(item.Board.Gateway)
	askGateway := err == nil && inCard(*card, gateway)
	if askGateway {
		ask = append(ask, gateway)
	}
	owners, err := link.ARPProbe{Card: card.Name}.Ask(ctx, ask)
	if err != nil {
		return skip(err.Error())
	}
	probes = append(probes, owners.Judge(card.Name, ip.String(), others)...)
	if askGateway && !owns(*card, gateway) {
		p := link.Probe{What: link.ProbeGateway, Target: gateway.String(), Result: link.ProbeOK, Evidence: []string{fmt.Sprintf("%s answers for %s", strings.Join(owners[gateway.String()], " and "), gateway)}}
		if len(owners[gateway.String()]) == 0 {
			p.Result, p.Evidence = link.ProbeNoGateway, []string{fmt.Sprintf("on %s nobody answers for %s, the gateway by plan", card.Name, gateway)}
		}
		probes = append(probes, p)
	}
	return probes
}

func dialBoard(ctx context.Context, addr string) (net.Conn, error) {
	return (&net.Dialer{Timeout: benchAnswer}).DialContext(ctx, "tcp", addr)
}

// mostAsked bounds how many addresses are asked for at once.
const mostAsked = 64

// facing is the card in whose network an address is.
func facing(cards []link.Card, ip netip.Addr) *link.Card {
	for i, c := range cards {
		if c.Up && !c.Loopback && inCard(c, ip) {
			return &cards[i]
		}
	}
	return nil
}

func inCard(c link.Card, ip netip.Addr) bool {
	return slices.ContainsFunc(c.Addrs, func(p netip.Prefix) bool { return p.Contains(ip) })
}

func owns(c link.Card, ip netip.Addr) bool {
	return slices.ContainsFunc(c.Addrs, func(p netip.Prefix) bool { return p.Addr() == ip })
}

// readCoil reads the prop's first coil at the real controller.
func (v *linkView) readCoil(ctx context.Context, item checklist.Item, to string) string {
	if len(item.Readers) == 0 {
		return ""
	}
	at := v.Controller
	if to != "" {
		at = to
	}
	p, on := link.CoilProbe{Addr: at, Unit: item.Controller.Unit, Address: item.Readers[0].Coil - item.Controller.Base}.Read(ctx)
	v.Probes = append(v.Probes, p)
	switch {
	case p.Result != link.ProbeOK && p.Result != link.ProbeSlow:
		return ""
	case on:
		return "on"
	}
	return "off"
}

// watch takes in both sides for a while.
func (v *linkView) watch(ctx context.Context, d deps, o linkPropOptions, st *sitePlan, item checklist.Item, log *bothSides) (err error) {
	if o.port != "" {
		session, err := attachBeside(ctx, o, st, item, log)
		if err != nil {
			return toolSide(o.port, err)
		}
		defer func() { err = errors.Join(err, session.Close()) }()
	}
	if o.listen != "" {
		config := link.Config{Addr: o.listen, Base: item.Controller.Base, Clock: clock.Real(), MaxSilence: o.during, Record: func(f checklist.Frame) error {
			log.add(checklist.Entry{Type: checklist.EntryFrame, Frame: &f, At: f.At})
			return nil
		}}
		var at passage
		if o.to != "" {
			at, err = link.ListenTap(ctx, config, o.to)
		} else {
			at, err = link.Listen(ctx, config)
		}
		if err != nil {
			return listenSide(err)
		}
		fmt.Fprintf(d.err, "listening at %s%s\n", at.Addr(), until(d.now(), o.during))
		defer func() { err = errors.Join(err, at.Close()) }()
	}
	fmt.Fprintln(d.err, "=> Show the prop's own tag a few times: lay it on the reader, lift it after three seconds, wait five.")
	timer := time.NewTimer(o.during)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
		return context.Cause(ctx)
	}
	return nil
}

// attachBeside reads the board's console into the log.
func attachBeside(ctx context.Context, o linkPropOptions, st *sitePlan, item checklist.Item, log *bothSides) (*serialmon.Session, error) {
	profiles, err := chooseWording(firstOf(o.wording, st.File.Defaults.Wording), st.Dir)
	if err != nil {
		return nil, err
	}
	planned := item.Board.Speed
	if planned == 0 {
		planned = 115200
	}
	speed, auto, err := readSpeed(o.speed, planned)
	if err != nil || auto {
		return nil, errors.Join(err, autoRefused(auto))
	}
	options := serialmon.Options{Name: o.port, Speed: speed, NoReset: o.noReset, Clock: clock.Real()}
	options.Sink = newConsole(options.Clock, parsers.NewStream(profiles...), func(e checklist.Entry) (checklist.Entry, error) {
		if e.At = e.Event.First; e.At.IsZero() {
			e.At = time.Now().UTC()
		}
		return log.add(e), nil
	})
	return serialmon.Attach(ctx, options)
}

func autoRefused(auto bool) error {
	if auto {
		return usageError{errors.New("link: --speed auto is for events; give a number in baud")}
	}
	return nil
}

// judge puts both sides on one time line and names what is wrong.
func (v *linkView) judge(item checklist.Item, entries []checklist.Entry, cards []link.Card, now time.Time) {
	slices.SortStableFunc(entries, func(a, b checklist.Entry) int { return a.At.Compare(b.At) })
	line := link.PairUp(entries, item.Readers)
	for _, e := range entries {
		if e.Frame != nil && e.Frame.Kind == checklist.FrameRequest {
			v.Requests++
		}
	}
	switched := len(line.Untagged) > 0
	for _, w := range line.Showings {
		v.Showings = append(v.Showings, viewOf(w))
		switched = switched || w.On.N != 0
	}
	if len(line.Showings) > 0 {
		v.Untagged = len(line.Untagged)
	}
	if s := line.Spread(); s.N > 0 {
		v.Delay = &delayView{s.N, s.Least, s.Median, s.Most, s.Off}
	}
	v.Faults = list(link.NameFaults(link.Seen{Item: item, Entries: entries, Until: now.UTC(), Probes: v.Probes, Cards: cards}))
	v.Showings, v.Probes, v.Cards = list(v.Showings), list(v.Probes), list(v.Cards)
	switch {
	case len(v.Faults) > 0:
		v.Verdict = string(checklist.Failed)
	case switched || v.Coil != "":
		v.Verdict = string(checklist.Passed)
	default:
		v.Verdict = string(checklist.NotConfirmed) // nothing was seen of the coil
	}
}

func viewOf(w link.Showing) showingView {
	v := showingView{Reader: max(w.Reader, 0), Coil: -1, Twice: len(w.Twice)}
	at := func(e checklist.Entry) *time.Time {
		if e.N == 0 {
			return nil
		}
		t := e.At.UTC()
		return &t
	}
	v.Came, v.On, v.Left, v.Off = at(w.Came), at(w.On), at(w.Left), at(w.Off)
	if w.On.N != 0 {
		v.Coil = w.On.Frame.Coil
	}
	if d, bound, ok := w.Delay(); ok {
		ds, bs := d.Seconds(), bound.Seconds()
		v.DelayS, v.OffByS = &ds, &bs
	}
	return v
}

// print says it for people.
func (v linkView) print(d deps) error {
	var b strings.Builder
	fmt.Fprintf(&b, "prop %s, controller %s\n", v.Prop, v.Controller)
	for _, p := range v.Probes {
		fmt.Fprintf(&b, "  %s %s: %s\n", p.What, parsers.Printable(p.Target), p.Result)
		for _, e := range p.Evidence {
			fmt.Fprintf(&b, "      %s\n", parsers.Printable(e))
		}
	}
	if v.Coil != "" {
		fmt.Fprintf(&b, "  the coil is %s at the controller\n", v.Coil)
	}
	if v.CoilAfter != "" {
		fmt.Fprintf(&b, "  the coil is %s at the controller after it\n", v.CoilAfter)
	}
	for i, w := range v.Showings {
		fmt.Fprintf(&b, "  showing %d:", i+1)
		if w.On == nil {
			b.WriteString(" no coil written")
		} else {
			fmt.Fprintf(&b, " coil %d", w.Coil)
		}
		if w.DelayS != nil {
			fmt.Fprintf(&b, " after %.3f s (within %.3f s)", *w.DelayS, *w.OffByS)
		}
		b.WriteString("\n")
	}
	if v.Delay != nil {
		fmt.Fprintf(&b, "  tag to coil: least %.3f s, median %.3f s, most %.3f s of %d\n", v.Delay.Least, v.Delay.Median, v.Delay.Most, v.Delay.N)
	}
	for _, f := range v.Faults {
		fmt.Fprintf(&b, "fault: %s\n", f.Title)
		for _, e := range f.Evidence {
			fmt.Fprintf(&b, "  shown by: %s\n", parsers.Printable(e))
		}
		fmt.Fprintf(&b, "  try: %s\n", f.Remedy)
		if f.Caution != "" {
			fmt.Fprintf(&b, "  !! %s\n", parsers.Printable(f.Caution))
		}
	}
	fmt.Fprintf(&b, "link: %s\n", v.Verdict)
	_, err := d.out.Write([]byte(b.String()))
	return err
}
