package link

import (
	"fmt"
	"net"
	"slices"
	"strings"
	"time"

	"propwright/checklist"
	"propwright/parsers"
)

// connections are what becomes of them.
func (v *view) connections() []Fault {
	if f := v.probed(); len(f) > 0 {
		return f
	}
	if f, ok := v.resetAtConnect(); ok {
		return []Fault{f}
	}
	if f, ok := v.socketsUsedUp(); ok {
		return []Fault{f}
	}
	if f, ok := v.stayedAway(); ok {
		return []Fault{f}
	}
	if len(v.connects) == 0 && v.dialled.N != 0 {
		return []Fault{fault(FaultNothingArrives, "the board dials the planned address and nothing arrives",
			"See whether this computer has that address on the board's network (propwright bench PROP), and what its firewall does with the port.",
			[]checklist.Entry{v.dialled}, "the board dials "+parsers.Printable(v.dialled.Event.Field("address")))}
	}
	if held, n := v.tagsWhileConnected(); n >= silentTags && len(v.asked) == 0 && len(v.told) == 0 {
		return []Fault{fault(FaultConnectedSilent, "connected but silent",
			"The firmware holds a connection and writes nothing: what it waits for before it writes, and whether it was built with a coil at all.",
			held, fmt.Sprintf("%d tags came while it was connected, and not one request", n))}
	}
	return nil
}

// probed is what probes of the controller or the board came to.
func (v *view) probed() (found []Fault) {
	for _, p := range v.Probes {
		if p.What != ProbeController && p.What != ProbeSocketsOf {
			continue
		}
		f := Fault{Evidence: p.Evidence}
		switch p.Result {
		case ProbeSockets:
			f.ID, f.Title = FaultSocketsUsedUp, "all sockets of the shield are used up"
			f.Remedy = "The firmware opens connections and does not close them: it must stop each client that has ended, before it opens another. A reset frees them until the next time."
		case ProbeNoHost:
			f.ID, f.Title, f.Remedy = FaultNoHost, "nobody answers at the controller's address", "Whether the controller is on and its cable in; its address against the plan; its mask and this computer's."
		case ProbeNoRoute:
			f.ID, f.Title, f.Remedy = FaultNoRoute, "wrong subnet", "This computer has no way to the controller's network: plug it in there, or give a network card an address in it (propwright bench PROP)."
		case ProbeRefused:
			f.ID, f.Title, f.Remedy = FaultPortShut, "host up, port shut", "The port's number; whether the controller's Modbus server is switched on, and whom it lets in."
		case ProbeClosed:
			f.ID, f.Title, f.Remedy = FaultAcceptsAndCloses, "connection accepted, then closed", "How many connections the controller allows and who holds them; whether it lets this address in."
		case ProbeSilent:
			f.ID, f.Title, f.Remedy = FaultAcceptsSilently, "connection accepted, no answer", "The unit id that the controller answers to; whether its program runs."
		case ProbeSlow:
			f.ID, f.Title, f.Remedy = FaultControllerIsSlow, "controller answers slowly", "The controller's cycle time, and what else asks it."
		case ProbeRefuses:
			f.ID, f.Title, f.Remedy = FaultControllerRefuses, "controller refuses to have coils read", "The function and the addresses that the controller has coils at."
		default:
			continue
		}
		found = append(found, f)
	}
	return found
}

// resetAtConnect sees boards that start anew soon after each connection.
func (v *view) resetAtConnect() (Fault, bool) {
	var resets []checklist.Entry
	for i, c := range v.connects {
		until := v.Until
		if i+1 < len(v.connects) {
			until = v.connects[i+1].At
		}
		k := slices.IndexFunc(v.boots, func(b checklist.Entry) bool {
			return b.At.After(c.At) && b.At.Sub(c.At) <= resetAfter && !b.At.After(until)
		})
		if k < 0 {
			return Fault{}, false
		}
		resets = append(resets, v.boots[k])
	}
	if len(resets) < resetsToName {
		return Fault{}, false
	}
	return fault(FaultResetAtConnect, "the board starts anew at each connect",
		"Measure the supply at the board while the shield connects: it draws its most then. A watchdog that is not fed while the firmware dials does the same.",
		resets, fmt.Sprintf("%d connections, a start within %v of each", len(v.connects), resetAfter)), true
}

// Sockets of the shields' chips (W5100 data sheet: 4; W5500 data sheet: 8).
var socketCounts = []int{4, 8}

// socketsUsedUp sees boards that connect four or eight times since their start and
// then no more, without having lost the link.
func (v *view) socketsUsedUp() (Fault, bool) {
	start := time.Time{}
	if len(v.boots) > 0 {
		start = v.boots[len(v.boots)-1].At
	}
	var since []checklist.Entry
	for _, c := range v.connects {
		if c.At.After(start) {
			since = append(since, c)
		}
	}
	n := len(since)
	if !slices.Contains(socketCounts, n) {
		return Fault{}, false
	}
	last := since[n-1]
	gone := slices.IndexFunc(v.closed, func(e checklist.Entry) bool { return e.Frame.Conn == last.Frame.Conn })
	if gone < 0 {
		return Fault{}, false
	}
	failed := slices.IndexFunc(v.Entries, func(e checklist.Entry) bool {
		return e.At.After(v.closed[gone].At) && checklist.IsKind(e, parsers.KindControllerDown, parsers.KindCoilFailed)
	})
	if failed < 0 && v.Until.Sub(v.closed[gone].At) < reconnectTime {
		return Fault{}, false
	}
	return fault(FaultSocketsUsedUp, "all sockets of the shield are used up",
		"The firmware opens connections and does not close them: it must stop each client that has ended, before it opens another. A reset frees them until the next time.",
		since, fmt.Sprintf("%d connections since its start, which is what a shield has sockets, and none after; the link is not lost", n)), true
}

// stayedAway sees boards that do not come back after the controller or the cable was
// away, or only after a reset.
func (v *view) stayedAway() (Fault, bool) {
	for i, gone := range v.closed {
		next := slices.IndexFunc(v.connects, func(c checklist.Entry) bool { return c.At.After(gone.At) && sameHost(c, gone) })
		back := v.backFrom(gone)
		if next < 0 {
			if i == len(v.closed)-1 && len(connected(v.Entries)) == 0 && v.Until.Sub(back) >= reconnectTime {
				return fault(FaultNoReconnect, "no reconnect", "Have the firmware look at its connection and dial again when it has ended, also when the cable was out.",
					[]checklist.Entry{gone}, fmt.Sprintf("no connection for %.0f s since cable and controller are back", v.Until.Sub(back).Seconds())), true
			}
			continue
		}
		c := v.connects[next]
		boot := slices.IndexFunc(v.boots, func(b checklist.Entry) bool { return b.At.After(back) && b.At.Before(c.At) })
		if boot < 0 {
			continue
		}
		if waited := v.boots[boot].At.Sub(back); waited >= reconnectTime {
			return fault(FaultAfterReset, "reconnects only after a reset", "Have the firmware dial again when its connection has ended; it does so at its start only.",
				[]checklist.Entry{gone, v.boots[boot], c}, fmt.Sprintf("away for %.0f s, back %.1f s after a start", waited.Seconds(), c.At.Sub(v.boots[boot].At).Seconds())), true
		}
	}
	return Fault{}, false
}

// backFrom is when what ended a connection was over: the link's return, where it was
// lost, else the end itself.
func (v *view) backFrom(gone checklist.Entry) time.Time {
	back := gone.At
	for _, e := range v.Entries {
		if checklist.IsKind(e, parsers.KindLinkUp) && e.At.After(gone.At) {
			return e.At
		}
	}
	return back
}

func sameHost(a, b checklist.Entry) bool { return hostOf(a.Frame.Peer) == hostOf(b.Frame.Peer) }

func hostOf(peer string) string {
	host, _, err := net.SplitHostPort(peer)
	if err != nil {
		return peer
	}
	return host
}

// tagsWhileConnected counts the tags that came while a connection was open, and says
// which was.
func (v *view) tagsWhileConnected() (held []checklist.Entry, n int) {
	for _, w := range v.line.Showings {
		if open := v.openAt(w.Came); len(open) > 0 {
			held, n = open, n+1
		}
	}
	return held, n
}

// openAt are the connections that were open when an entry came.
func (v *view) openAt(at checklist.Entry) []checklist.Entry {
	k := slices.IndexFunc(v.Entries, func(e checklist.Entry) bool { return e.N == at.N })
	return connected(v.Entries[:max(k, 0)])
}

// requests are what is asked of whom: function, unit, coil, and by how many.
func (v *view) requests() (found []Fault) {
	if len(v.registers) > 0 && len(v.writes) == 0 {
		f := v.registers[0].Frame
		return []Fault{fault(FaultWrongFunction, "wrong function", "Have the firmware write a single coil, function 05, with FF00 and 0000.", v.registers,
			fmt.Sprintf("function %02X (%s) at address %d, answered %s; no coil was written", f.Function, FunctionName(f.Function), f.Address, orNone(f.Answer)))}
	}
	if len(v.writes) == 0 {
		return nil
	}
	if f, ok := v.twoBoards(); ok {
		found = append(found, f)
	}
	if f, ok := v.wrongUnit(); ok {
		found = append(found, f)
	}
	return append(found, v.wrongCoils()...)
}

func orNone(answer string) string {
	if answer == "" {
		return "by nobody"
	}
	return answer
}

// twoBoards sees one planned coil written from two addresses.
func (v *view) twoBoards() (Fault, bool) {
	var ours []checklist.Entry
	var hosts []string
	for _, r := range readers(v.Item) {
		ours, hosts = nil, nil
		for _, e := range append(slices.Clone(v.writes), v.others...) {
			if coil, _, _ := written(e); coil == r.Coil {
				if h := hostOf(e.Frame.Peer); !slices.Contains(hosts, h) {
					hosts, ours = append(hosts, h), append(ours, e)
				}
			}
		}
		if len(hosts) > 1 {
			return fault(FaultTwoBoards, "two boards write one coil", "Find the other board by its address (propwright plan list boards) and build one of the two with its own coil.",
				ours, fmt.Sprintf("coil %d is written from %s", r.Coil, strings.Join(hosts, " and "))), true
		}
	}
	return Fault{}, false
}

func (v *view) wrongUnit() (Fault, bool) {
	for _, e := range v.writes {
		if e.Frame.Unit != v.Item.Controller.Unit {
			return fault(FaultWrongUnit, "wrong unit id", "Build the firmware with the planned unit id, or correct the plan; a gateway passes another id to another device, and some controllers leave it unanswered.",
				[]checklist.Entry{e}, fmt.Sprintf("writes to unit %d, the plan has unit %d; answered %s", e.Frame.Unit, v.Item.Controller.Unit, orNone(e.Frame.Answer))), true
		}
	}
	return Fault{}, false
}

// wrongCoils sees coils that the plan does not have for this board.
func (v *view) wrongCoils() (found []Fault) {
	planned := readers(v.Item)
	if planned[0].Coil < 0 {
		return nil
	}
	done := map[int]bool{}
	base := v.Item.Controller.Base
	for _, e := range v.writes {
		coil, _, _ := written(e)
		if done[coil] || slices.ContainsFunc(planned, func(r checklist.Reader) bool { return r.Coil == coil }) {
			continue
		}
		done[coil] = true
		near := planned[0]
		for _, r := range planned {
			if abs(coil-r.Coil) < abs(coil-near.Coil) {
				near = r
			}
		}
		evidence := []string{fmt.Sprintf("coil %d written (address %d), coil %d planned (address %d, base %d)", coil, e.Frame.Address, near.Coil, near.Coil-base, base)}
		owner := v.Item.Owner(parsers.SettingCoil, fmt.Sprint(coil))
		if owner != "" {
			evidence = append(evidence, fmt.Sprintf("coil %d belongs to %s", coil, owner))
		}
		f := fault(FaultOtherCoil, "another coil than planned", "Build the firmware with the planned coil, or correct the plan.", []checklist.Entry{e}, evidence...)
		switch {
		case coil == near.Coil+1:
			f.ID, f.Title, f.Remedy = FaultCoilHigh, "coil one too high", "Number and address are mixed up: the firmware sends the coil's number where the wire has the number less one, or adds one to an address. Change it in one place only, firmware or plan's base."
		case coil == near.Coil-1:
			f.ID, f.Title, f.Remedy = FaultCoilLow, "coil one too low", "Number and address are mixed up: the firmware takes one off twice, or counts from 1 where the plan counts from 0. Change it in one place only, firmware or plan's base."
		case owner != "":
			f.ID, f.Title, f.Remedy = FaultNeighboursCoil, "a neighbour's coil", "Build the firmware with its own coil; until then this tag plays the neighbour's prop."
		}
		if owner != "" {
			f.Caution = "Each tag moves what " + owner + " drives: keep people away from it until this is put right."
		}
		found = append(found, f)
	}
	return found
}

func abs(n int) int { return max(n, -n) }
