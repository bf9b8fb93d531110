package link

import (
	"fmt"
	"net"
	"strconv"
	"strings"
	"time"

	"propwright/checklist"
	"propwright/parsers"
)

// diagnose says from the board's own words why nothing connected.
func diagnose(s *checklist.Scene, within time.Duration) checklist.Finding {
	b := s.Belief()
	if b.DialledN < b.BootN {
		b.Dialled = "" // by another build, perhaps
	}
	wait := fmt.Sprintf("connected within %g s", within.Seconds())
	f := checklist.Finding{
		What: "network link", How: checklist.Measured, Verdict: checklist.Failed, Limit: ptr(checklist.Text(wait)),
		Rests: netWords(s),
	}
	planned := plannedAddress(s.Item)
	switch {
	case b.Link != checklist.No && b.Dialled != "" && !sameAddress(b.Dialled, planned):
		f.What = "controller address"
		f.Value, f.Limit = checklist.Text("dials "+b.Dialled+", planned "+planned), ptr(checklist.Text(planned))
		f.Note = fmt.Sprintf("The board dials %s, the plan has %s: correct the firmware's setting, or the plan.", b.Dialled, planned)
		f.Rests = append(refsAt(s, b.DialledN), f.Rests...)
	case b.Link == checklist.No:
		f.Value = checklist.Text("no link")
		f.Note = "The board tells of no network link: the cable, its plugs, the port at the switch, or the network chip's supply."
	case b.Link == checklist.Unknown && b.Dialled == "":
		f.Value = checklist.Text("no link told, nothing arrived")
		f.Note = "The board has told of no network link and dialled nobody: the cable first, then what its firmware does at start."
	case b.Dialled != "":
		f.Value = checklist.Text("nothing arrived; the board dials " + b.Dialled)
		f.Note = "The board dials the planned address and nothing arrives: does this computer have that address on the board's network, and does its firewall let the port through?"
	default:
		f.Value = checklist.Text("link up, nothing arrived")
		f.Note = "The network link is up and nothing arrives: the address that the firmware dials, its own address and mask, or a firewall."
	}
	return f
}

// netWords is what the board has said of its network since its last boot, with
// the end of the wait as evidence where it said nothing.
func netWords(s *checklist.Scene) []checklist.Ref {
	var words []checklist.Entry
	for _, e := range s.Log.Entries(max(s.Belief().BootN-1, 0)) {
		if checklist.IsKind(e, parsers.KindLinkUp, parsers.KindLinkDown, parsers.KindControllerUp, parsers.KindControllerDown, parsers.KindCoilFailed) {
			words = append(words, e)
		}
	}
	// A board that dials and dials says the same again: the last words tell.
	const most = 8
	if len(words) > most {
		words = words[len(words)-most:]
	}
	if len(words) > 0 {
		return checklist.RefsOf(words...)
	}
	own := s.Earlier()
	return checklist.RefsOf(own[:min(len(own), 1)]...)
}

func refsAt(s *checklist.Scene, n int64) []checklist.Ref {
	if n < 1 {
		return nil
	}
	return checklist.RefsOf(s.Log.Entries(n - 1)[0])
}

// plannedAddress is where the plan has the controller, ADDRESS:PORT.
func plannedAddress(it checklist.Item) string {
	port := it.Controller.Port
	if port == 0 {
		port = 502 // MODBUS Messaging on TCP/IP Implementation Guide V1.0b, 4.2
	}
	return net.JoinHostPort(it.Controller.Address, strconv.Itoa(port))
}

// sameAddress compares what a board printed with the plan; a board that prints no
// port is held to the address alone.
func sameAddress(told, planned string) bool {
	host, _, _ := net.SplitHostPort(planned)
	return host == "" || told == planned || strings.TrimSpace(told) == host
}

// connectionFinding is the finding that the board found the controller.
func connectionFinding(s *checklist.Scene, conn checklist.Entry, start time.Time, within time.Duration) checklist.Finding {
	f := checklist.Finding{
		What: "connection to the controller", How: checklist.Measured, Verdict: checklist.Passed, Rests: checklist.RefsOf(conn),
		Value: checklist.Text("from " + conn.Frame.Peer), Limit: ptr(checklist.Text(fmt.Sprintf("within %g s", within.Seconds()))),
	}
	if waited := conn.At.Sub(start).Seconds(); waited > 0 {
		f.Value = checklist.Number(waited, "s", fmt.Sprintf("from %s after %s", conn.Frame.Peer, seconds(waited)))
	}
	host, _, _ := net.SplitHostPort(conn.Frame.Peer)
	if ip := net.ParseIP(host); ip != nil && !ip.IsLoopback() && s.Item.Board.IP != "" && host != s.Item.Board.IP {
		f.Note = fmt.Sprintf("Note: it came from %s, the plan has the board at %s.", host, s.Item.Board.IP)
	}
	return f
}
