package link

import (
	"fmt"
	"net"
	"net/netip"
	"slices"
	"strings"
	"time"

	"propwright/checklist"
	"propwright/parsers"
)

// A Fault is what is wrong with a link, with what shows it and what to do.
type Fault struct {
	ID       string          `json:"id"`
	Title    string          `json:"title"`
	Evidence []string        `json:"evidence"`
	Remedy   string          `json:"remedy"`
	Caution  string          `json:"caution,omitempty"`
	Rests    []checklist.Ref `json:"rests,omitempty"`
}

// The faults that NameFaults tells apart.
const (
	FaultShieldMissing     = "shield-not-found"
	FaultNoLink            = "no-link"
	FaultLinkFlaps         = "link-flapping"
	FaultDuplicateIP       = "duplicate-ip"
	FaultDuplicateMAC      = "duplicate-mac"
	FaultWrongController   = "wrong-controller-address"
	FaultOtherCard         = "other-network-card"
	FaultWrongMask         = "wrong-mask"
	FaultGateway           = "gateway-unreachable"
	FaultSocketsUsedUp     = "sockets-used-up"
	FaultPortShut          = "port-shut"
	FaultAcceptsAndCloses  = "accepts-and-closes"
	FaultAcceptsSilently   = "controller-silent"
	FaultNoHost            = "controller-not-there"
	FaultNoRoute           = "wrong-subnet"
	FaultNothingArrives    = "nothing-arrives"
	FaultResetAtConnect    = "reset-at-each-connect"
	FaultAfterReset        = "reconnects-only-after-a-reset"
	FaultNoReconnect       = "no-reconnect"
	FaultConnectedSilent   = "connected-but-silent"
	FaultWrongFunction     = "wrong-function"
	FaultWrongUnit         = "wrong-unit"
	FaultTwoBoards         = "two-boards-one-coil"
	FaultCoilLow           = "coil-one-too-low"
	FaultCoilHigh          = "coil-one-too-high"
	FaultNeighboursCoil    = "neighbours-coil"
	FaultOtherCoil         = "other-coil"
	FaultRefused           = "write-refused"
	FaultInverted          = "value-inverted"
	FaultNeverOff          = "on-but-never-off"
	FaultToggleNeverOff    = "toggle-never-off"
	FaultWritesLost        = "writes-lost"
	FaultWritesTwice       = "writes-duplicated"
	FaultWritesLate        = "writes-late"
	FaultCoilWithoutTag    = "coil-without-a-tag"
	FaultTagWithoutCoil    = "tag-without-a-coil"
	FaultControllerIsSlow  = "controller-slow"
	FaultControllerRefuses = "controller-refuses-function"
)

// Limits of the naming; from experience, no source, where none is named.
const (
	flaps         = 3                // link losses within flapWindow
	flapWindow    = time.Minute      //
	resetAfter    = 2 * time.Second  // of a connection
	resetsToName  = 2                //
	linkTime      = 10 * time.Second // after a start a link is there, or told to be missing
	silentTags    = 2                // tags that came while a connection was open
	reconnectTime = 30 * time.Second // within that a board is to be back
	lateWrite     = time.Second      // the command contract's limit of the delay
	slowAnswer    = 500 * time.Millisecond
)

// Seen is what there is to judge a link by. What was not looked at is left empty.
type Seen struct {
	Item    checklist.Item
	Entries []checklist.Entry // the console's events and the controller's frames, in their order
	Until   time.Time         // when the looking ended
	Probes  []Probe
	Cards   []Card // this computer's
}

// NameFaults says what is wrong with a link. Where something is wrong underneath,
// what is wrong above it is not named: a board without a link writes no coil either.
// An empty answer means that nothing of the list was seen, not that all is well.
func NameFaults(s Seen) []Fault {
	v := view{Seen: s}
	v.look()
	v.line = PairUp(slices.DeleteFunc(slices.Clone(s.Entries), v.another), readers(s.Item))
	for _, layer := range []func() []Fault{v.hardware, v.addresses, v.connections, v.requests, v.values} {
		if found := layer(); len(found) > 0 {
			return found
		}
	}
	return nil
}

// A view is Seen, looked through once.
type view struct {
	Seen
	line      TimeLine
	linkDowns []checklist.Entry
	linkDown  checklist.Entry // the last word on the link, where that is that there is none
	connects  []checklist.Entry
	boots     []checklist.Entry
	closed    []checklist.Entry
	writes    []checklist.Entry // coil writes
	others    []checklist.Entry // coil writes of other boards
	registers []checklist.Entry // register writes
	asked     []checklist.Entry // all requests
	told      []checklist.Entry // coils that the console says were written
	dialled   checklist.Entry
	shield    checklist.Entry
	address   map[string]checklist.Entry
	linked    bool // the board told of a link
	known     bool // a frame came from the address that the plan has for the board
}

func (v *view) look() {
	v.address = map[string]checklist.Entry{}
	for _, e := range v.Entries {
		v.known = v.known || e.Frame != nil && hostOf(e.Frame.Peer) == v.Item.Board.IP
	}
	for _, e := range v.Entries {
		switch {
		case v.another(e):
			if _, _, ok := written(e); ok {
				v.others = append(v.others, e)
			}
		case e.Frame != nil:
			v.lookAtFrame(e)
		case e.Event != nil:
			v.lookAtEvent(e)
		}
	}
}

// another reports whether a frame is another board's: the plan says which address ours
// has, ours was seen, and this is not it.
func (v *view) another(e checklist.Entry) bool {
	return e.Frame != nil && v.known && hostOf(e.Frame.Peer) != v.Item.Board.IP
}

func (v *view) lookAtFrame(e checklist.Entry) {
	switch e.Frame.Kind {
	case checklist.FrameConnected:
		v.connects = append(v.connects, e)
	case checklist.FrameClosed:
		v.closed = append(v.closed, e)
	case checklist.FrameRequest:
		v.asked = append(v.asked, e)
		if _, _, ok := written(e); ok {
			v.writes = append(v.writes, e)
		}
		if e.Frame.Function == writeRegister || e.Frame.Function == writeRegisters {
			v.registers = append(v.registers, e)
		}
	}
}

func (v *view) lookAtEvent(e checklist.Entry) {
	switch e.Event.Kind {
	case parsers.KindBoot:
		v.boots = append(v.boots, e)
		v.shield = checklist.Entry{}
	case parsers.KindLinkUp:
		v.linked = true
		v.linkDown = checklist.Entry{}
	case parsers.KindLinkDown:
		v.linkDowns, v.linkDown = append(v.linkDowns, e), e
	case parsers.KindCoilWritten:
		v.told = append(v.told, e)
	case parsers.KindControllerUp, parsers.KindControllerDown:
		if e.Event.Field("address") != "" {
			v.dialled = e
		}
	case parsers.KindAddress:
		for _, name := range []string{"ip", "mask", "gateway", "mac"} {
			if e.Event.Field(name) != "" {
				v.address[name] = e
			}
		}
	case parsers.KindBoardFault:
		if isShield(string(e.Event.Raw)) {
			v.shield = e
		}
	}
}

// isShield reports whether a board's words of a fault are of its network shield.
func isShield(text string) bool {
	text = strings.ToLower(text)
	of := func(words ...string) bool {
		for _, w := range words {
			if strings.Contains(text, w) {
				return true
			}
		}
		return false
	}
	return of("ethernet", "network", "shield", "w5500", "w5100", "w5200") && of("not found", "missing", "no hardware", "does not answer", "not answer", "no answer")
}

// fault makes one that rests on entries.
func fault(id, title, remedy string, rests []checklist.Entry, evidence ...string) Fault {
	const most = 8
	if len(rests) > most {
		rests = rests[len(rests)-most:]
	}
	return Fault{ID: id, Title: title, Evidence: evidence, Remedy: remedy, Rests: checklist.RefsOf(rests...)}
}

// hardware is the shield, its cable and its link.
func (v *view) hardware() []Fault {
	switch {
	case v.shield.N != 0:
		return []Fault{fault(FaultShieldMissing, "network shield not found",
			"Power off, then seat the shield: its select and reset lines, its 3.3 V, no other device on the same select line.",
			[]checklist.Entry{v.shield}, "the board says: "+parsers.Printable(string(v.shield.Event.Raw)))}
	case v.flapping():
		return []Fault{fault(FaultLinkFlaps, "link comes and goes",
			"Another cable first, then the socket's clip and its solder joints, the switch's port, and the shield's supply under load.",
			v.linkDowns, fmt.Sprintf("the board told %d times of a lost link within %v", len(v.linkDowns), flapWindow))}
	case v.linkDown.N != 0:
		return []Fault{fault(FaultNoLink, "no link",
			"The cable and its plugs, the switch's port (its lamp), a crossed cable where the shield does not turn pairs itself, the shield's supply.",
			[]checklist.Entry{v.linkDown}, "the board tells of no network link")}
	case len(v.boots) > 0 && !v.linked && v.dialled.N == 0 && len(v.connects) == 0 && v.Until.Sub(v.boots[len(v.boots)-1].At) >= linkTime:
		return []Fault{fault(FaultNoLink, "no link",
			"The cable and its plugs, the switch's port (its lamp), the shield's supply; then whether the firmware looks for a network at all.",
			v.boots, "since its start the board has told of no link, dialled nobody and not connected")}
	}
	return nil
}

// flapping reports whether the link was lost several times within a short time.
func (v *view) flapping() bool {
	for i := flaps - 1; i < len(v.linkDowns); i++ {
		if v.linkDowns[i].At.Sub(v.linkDowns[i-flaps+1].At) <= flapWindow {
			return true
		}
	}
	return false
}

// addresses are who has which, and who is dialled.
func (v *view) addresses() (found []Fault) {
	for _, p := range v.Probes {
		switch p.Result {
		case ProbeTwice:
			id, title, remedy := FaultDuplicateIP, "address in use twice", "Give one of the two another address; propwright plan list shows whose it is by plan. Until then either of them loses its connections at any time."
			if p.What == ProbeMAC {
				id, title, remedy = FaultDuplicateMAC, "MAC address in use twice", "Build each board with a MAC of its own; the plan hands out free ones (propwright plan next). Two boards with an example program's MAC on one switch take each other's frames."
			}
			found = append(found, Fault{ID: id, Title: title, Evidence: p.Evidence, Remedy: remedy})
		case ProbeNoGateway:
			found = append(found, Fault{ID: FaultGateway, Title: "gateway not reachable", Evidence: p.Evidence, Remedy: "The gateway's address in the plan and in the firmware, its cable, and whether a gateway is needed at all."})
		}
	}
	if len(found) > 0 {
		return found
	}
	if f, ok := v.wrongMask(); ok {
		return []Fault{f}
	}
	if len(v.connects) > 0 || v.dialled.N == 0 {
		return nil
	}
	told, planned := v.dialled.Event.Field("address"), plannedAddress(v.Item)
	if sameAddress(told, planned) {
		return nil
	}
	evidence := fmt.Sprintf("the board dials %s, the plan has %s", parsers.Printable(told), planned)
	if card, ok := v.cardOf(told); ok {
		return []Fault{fault(FaultOtherCard, "controller address is that of another network card",
			fmt.Sprintf("Build the firmware with %s, or listen on the address of card %s that the board dials.", planned, card), []checklist.Entry{v.dialled},
			evidence, "this computer's card "+card+" has the address that is dialled")}
	}
	return []Fault{fault(FaultWrongController, "wrong controller address", "Correct the firmware's setting, or the plan.", []checklist.Entry{v.dialled}, evidence)}
}

// cardOf is this computer's network card that has an address.
func (v *view) cardOf(hostPort string) (string, bool) {
	host, _, err := net.SplitHostPort(hostPort)
	if err != nil {
		host = hostPort
	}
	ip, err := netip.ParseAddr(strings.TrimSpace(host))
	if err != nil {
		return "", false
	}
	for _, c := range v.Cards {
		for _, a := range c.Addrs {
			if a.Addr() == ip {
				return c.Name, true
			}
		}
	}
	return "", false
}

// wrongMask holds the mask that the board tells against the plan's, or against the
// controller, which it has to take in where there is no gateway.
func (v *view) wrongMask() (Fault, bool) {
	e, ok := v.address["mask"]
	if !ok {
		return Fault{}, false
	}
	told := e.Event.Field("mask")
	if planned := v.Item.Board.Mask; planned != "" && told != planned {
		return fault(FaultWrongMask, "wrong mask", "Build the firmware with the network's mask, or correct the plan.", []checklist.Entry{e},
			fmt.Sprintf("the board has mask %s, the plan has %s", parsers.Printable(told), planned)), true
	}
	ip, err1 := netip.ParseAddr(v.Item.Board.IP)
	controller, err2 := netip.ParseAddr(v.Item.Controller.Address)
	ones, bits := net.IPMask(net.ParseIP(told).To4()).Size()
	if err1 != nil || err2 != nil || bits != 32 || netip.PrefixFrom(ip, ones).Masked().Contains(controller) || v.Item.Board.Gateway != "" {
		return Fault{}, false
	}
	return fault(FaultWrongMask, "wrong mask", "Build the firmware with the network's mask.", []checklist.Entry{e},
		fmt.Sprintf("with mask %s the board at %s does not take the controller at %s for a neighbour, and there is no gateway", told, ip, controller)), true
}
