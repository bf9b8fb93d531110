package link_test

import (
	"fmt"
	"net"
	"net/netip"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist"
	"propwright/checklist/link"
	"propwright/parsers"
)

// story makes entries of lines "SECONDS WORD ARGS…", both sides of a link in their
// order. Words of the console are kinds of event, an argument name=value a field; words
// of the controller are connect, close, on, off and register, with conn=, host=, unit=,
// answer= where they are not 1, the board's, 1 and ok.
func story(t *testing.T, text string) (entries []checklist.Entry) {
	t.Helper()
	for _, line := range strings.Split(strings.TrimSpace(text), "\n") {
		words := strings.Fields(line)
		if len(words) == 0 {
			continue
		}
		after, err := strconv.ParseFloat(words[0], 64)
		if err != nil {
			t.Fatalf("story line %q: %v", line, err)
		}
		at := stamp.Add(time.Duration(after * float64(time.Second)))
		args, plain := map[string]string{"conn": "1", "host": "10.77.0.57", "unit": "1", "answer": "ok"}, 0
		fields := map[string]string{}
		for _, w := range words[2:] {
			if name, value, ok := strings.Cut(w, "="); ok {
				args[name] = strings.ReplaceAll(value, "_", " ")
				fields[name] = args[name]
			} else if plain, err = strconv.Atoi(w); err != nil {
				t.Fatalf("story line %q: %v", line, err)
			}
		}
		e := checklist.Entry{N: int64(len(entries) + 1), At: at}
		conn, _ := strconv.Atoi(args["conn"])
		unit, _ := strconv.Atoi(args["unit"])
		f := &checklist.Frame{At: at, Conn: uint64(conn), Peer: args["host"] + ":49152", Address: -1, Coil: -1}
		if args["answer"] == "none" {
			args["answer"] = ""
		}
		request := func(function int, values ...int) {
			f.Kind, f.Unit, f.Function, f.Address, f.Values, f.Answer = checklist.FrameRequest, unit, function, plain-1, values, args["answer"]
			if function != 6 {
				f.Coil = plain
			}
		}
		switch words[1] {
		case "connect":
			f.Kind = checklist.FrameConnected
		case "close":
			f.Kind = checklist.FrameClosed
		case "on":
			request(5, 1)
		case "off":
			request(5, 0)
		case "register":
			request(6, 1)
		default:
			kind := parsers.Kind(words[1])
			if !slices.Contains(parsers.Kinds(), kind) {
				t.Fatalf("story line %q: no such kind", line)
			}
			ev := parsers.Event{Kind: kind, Reader: parsers.NoReader, First: at, Last: at.Add(20 * time.Millisecond), Raw: []byte(fields["text"])}.Holding(fields)
			e.Type, e.Event, f = checklist.EntryEvent, &ev, nil
		}
		if f != nil {
			e.Type, e.Frame = checklist.EntryFrame, f
		}
		entries = append(entries, e)
	}
	return entries
}

// showings are n of them ten seconds apart: the tag comes, the coil's writes follow, it
// leaves. A write is "AFTER WORD ARGS" in seconds after its tag; one from the third
// second on belongs to the tag's leaving.
func showings(n int, writes ...string) string {
	var b strings.Builder
	for i := range n {
		at := 10 * float64(i+1)
		lines := map[float64]string{at: "tag-present uid=04A1B2C3D4E5F6", at + 3: "tag-absent"}
		for _, w := range writes {
			after, rest, _ := strings.Cut(w, " ")
			d, _ := strconv.ParseFloat(after, 64)
			lines[at+d] = rest
		}
		var times []float64
		for at := range lines {
			times = append(times, at)
		}
		slices.Sort(times)
		for _, at := range times {
			fmt.Fprintf(&b, "%.3f %s\n", at, lines[at])
		}
	}
	return b.String()
}

const begun = "0 boot\n0.5 link-up\n0.8 controller-up address=10.77.0.10:502\n0.8 connect\n"

// A table of fault against verdict: each by what it shows, and nothing else named.
func TestFaultsAreNamed(t *testing.T) {
	probe := func(what, result string) func(*link.Seen) {
		return func(s *link.Seen) {
			s.Probes = []link.Probe{{What: what, Target: "10.77.0.57", Result: result, Evidence: []string{"seen"}}}
		}
	}
	behaves := func(b string) func(*link.Seen) {
		return func(s *link.Seen) { s.Item.Readers[0].Behaviour = b }
	}
	good := showings(4, "0.09 on 117", "3.1 off 117")
	for name, tt := range map[string]struct {
		story  string
		change func(*link.Seen)
		want   []string
	}{
		"nothing":                         {begun + good, nil, nil},
		"nothing, a toggle":               {begun + showings(1, "0.09 on 117") + "20 tag-present uid=04A1B2C3D4E5F6\n20.1 off 117\n23 tag-absent\n", behaves("toggle"), nil},
		"showings in quick succession":    {begun + "10 tag-present\n10.09 on 117\n10.4 tag-absent\n10.5 off 117\n10.9 tag-present\n10.99 on 117\n11.3 tag-absent\n11.4 off 117\n11.8 tag-present\n11.89 on 117\n12.2 tag-absent\n12.3 off 117\n", nil, nil},
		"a tag before the connection":     {"0 boot\n0.5 link-up\n0.6 tag-present\n0.7 tag-absent\n0.8 connect\n" + good, nil, nil},
		"a pulse":                         {begun + showings(4, "0.09 on 117", "1.1 off 117"), behaves("pulse"), nil},
		"a line after its frame":          {begun + showings(4, "-0.03 on 117", "2.97 off 117"), nil, nil},
		"cable out and back":              {begun + good + "60 link-down\n61 close\n65 link-up\n66 connect conn=2\n", nil, nil},
		"another board's coil next to it": {begun + good + "51 connect conn=2 host=10.77.0.58\n52 on 118 conn=2 host=10.77.0.58\n53 off 118 conn=2 host=10.77.0.58", nil, nil},

		"a card that the board refuses": {begun + good + "60 tag-present uid=04A1B2C3D4E5F7\n60.1 card-refused uid=04A1B2C3D4E5F7\n62 tag-absent\n", nil, nil},
		"a card that is enrolled":       {begun + good + "60 program-enter\n62 tag-present uid=04A1B2C3D4E5F7\n63 tag-absent\n64 program-exit\n", nil, nil},

		"coil one too high":          {begun + showings(4, "0.09 on 118", "3.1 off 118"), nil, []string{link.FaultCoilHigh}},
		"coil one too low":           {begun + showings(4, "0.09 on 116", "3.1 off 116"), nil, []string{link.FaultCoilLow}},
		"neighbour's coil":           {begun + showings(4, "0.09 on 130", "3.1 off 130"), nil, []string{link.FaultNeighboursCoil}},
		"nobody's coil":              {begun + showings(4, "0.09 on 99", "3.1 off 99"), nil, []string{link.FaultOtherCoil}},
		"wrong unit id":              {begun + showings(4, "0.09 on 117 unit=255", "3.1 off 117 unit=255"), nil, []string{link.FaultWrongUnit}},
		"wrong unit, unanswered":     {begun + showings(4, "0.09 on 117 unit=9 answer=none"), nil, []string{link.FaultWrongUnit}},
		"wrong function":             {begun + showings(4, "0.09 register 117 answer=exception_01"), nil, []string{link.FaultWrongFunction}},
		"write refused":              {begun + showings(4, "0.09 on 117 answer=exception_02"), nil, []string{link.FaultRefused}},
		"controller silent":          {begun + showings(4, "0.09 on 117 answer=none"), nil, []string{link.FaultAcceptsSilently}},
		"on but never off":           {begun + showings(4, "0.09 on 117"), nil, []string{link.FaultNeverOff}},
		"a pulse stays":              {begun + showings(4, "0.09 on 117"), behaves("pulse"), []string{link.FaultNeverOff}},
		"toggle never off":           {begun + showings(4, "0.09 on 117"), behaves("toggle"), []string{link.FaultToggleNeverOff}},
		"value inverted":             {begun + showings(4, "0.09 off 117", "3.1 on 117"), nil, []string{link.FaultInverted}},
		"two boards":                 {begun + good + "51 connect conn=2 host=10.77.0.58\n52 on 117 conn=2 host=10.77.0.58\n53 off 117 conn=2 host=10.77.0.58", nil, []string{link.FaultTwoBoards}},
		"late":                       {begun + showings(4, "1.6 on 117", "4.6 off 117"), nil, []string{link.FaultWritesLate}},
		"twice":                      {begun + showings(4, "0.09 on 117", "0.15 on 117", "3.1 off 117"), nil, []string{link.FaultWritesTwice}},
		"lost":                       {begun + good + "50 tag-present uid=04A1B2C3D4E5F6\n53 tag-absent\n", nil, []string{link.FaultWritesLost}},
		"lost, as told":              {begun + showings(3, "0.05 coil-written coil=117 value=on"), nil, []string{link.FaultWritesLost}},
		"tag without a coil":         {begun + showings(3) + "41 on 130\n42 off 130\n", func(s *link.Seen) { s.Item.Readers = append(s.Item.Readers, checklist.Reader{Index: 1, Coil: 130}) }, []string{link.FaultTagWithoutCoil, link.FaultCoilWithoutTag}},
		"coil without a tag":         {begun + good + "55 on 117\n56 off 117\n", nil, []string{link.FaultCoilWithoutTag}},
		"no link":                    {"0 boot\n1 link-down\n", nil, []string{link.FaultNoLink}},
		"no word of a link":          {"0 boot\n0.1 firmware\n", nil, []string{link.FaultNoLink}},
		"link flapping":              {begun + "10 link-down\n11 link-up\n14 link-down\n15 link-up\n20 link-down\n21 link-up\n", nil, []string{link.FaultLinkFlaps}},
		"shield not found":           {"0 boot\n0.2 board-fault text=network_chip_not_found\n", nil, []string{link.FaultShieldMissing}},
		"another fault of the board": {"0 boot\n0.2 board-fault text=settings_not_found\n" + begun + good, nil, nil},
		"wrong controller":           {"0 boot\n0.5 link-up\n3 controller-down address=10.77.0.99:502\n", nil, []string{link.FaultWrongController}},
		"other network card": {"0 boot\n0.5 link-up\n3 controller-down address=192.168.1.23:502\n", func(s *link.Seen) {
			s.Cards = []link.Card{{Name: "eth0", Up: true, Addrs: []netip.Prefix{netip.MustParsePrefix("192.168.1.23/24")}}}
		}, []string{link.FaultOtherCard}},
		"wrong mask":                           {"0 boot\n0.1 address ip=10.77.0.57 mask=255.255.255.252\n0.5 link-up\n3 controller-down address=10.77.0.10:502\n", nil, []string{link.FaultWrongMask}},
		"mask that leaves the controller out":  {"0 boot\n0.1 address mask=255.255.255.248\n3 controller-down address=10.77.0.10:502\n", func(s *link.Seen) { s.Item.Board.Mask, s.Item.Board.Gateway = "", "" }, []string{link.FaultWrongMask}},
		"nothing arrives":                      {"0 boot\n0.5 link-up\n3 controller-down address=10.77.0.10:502\n", nil, []string{link.FaultNothingArrives}},
		"sockets, four":                        {"0 boot\n0.5 link-up\n" + reconnects(4) + "45 controller-down address=10.77.0.10:502\n", nil, []string{link.FaultSocketsUsedUp}},
		"sockets, eight":                       {"0 boot\n0.5 link-up\n" + reconnects(8) + "85 controller-down address=10.77.0.10:502\n", nil, []string{link.FaultSocketsUsedUp}},
		"five connections are no socket limit": {"0 boot\n0.5 link-up\n" + reconnects(5) + "55 controller-down address=10.77.0.10:502\n", nil, []string{link.FaultNoReconnect}},
		"reset at each connect":                {"0 boot\n1 connect\n1.4 boot\n2.4 connect conn=2\n2.9 boot\n3.8 connect conn=3\n4.1 boot\n", nil, []string{link.FaultResetAtConnect}},
		"connected but silent":                 {begun + showings(3), nil, []string{link.FaultConnectedSilent}},
		"no reconnect":                         {begun + good + "60 link-down\n61 close\n65 link-up\n", nil, []string{link.FaultNoReconnect}},
		"only after a reset":                   {begun + good + "60 link-down\n61 close\n65 link-up\n110 boot\n111 connect conn=2\n", nil, []string{link.FaultAfterReset}},
		"duplicate IP":                         {begun + good, probe(link.ProbeAddress, link.ProbeTwice), []string{link.FaultDuplicateIP}},
		"duplicate MAC":                        {begun + good, probe(link.ProbeMAC, link.ProbeTwice), []string{link.FaultDuplicateMAC}},
		"gateway":                              {begun, probe(link.ProbeGateway, link.ProbeNoGateway), []string{link.FaultGateway}},
		"port shut":                            {"", probe(link.ProbeController, link.ProbeRefused), []string{link.FaultPortShut}},
		"controller not there":                 {"", probe(link.ProbeController, link.ProbeNoHost), []string{link.FaultNoHost}},
		"wrong subnet":                         {"", probe(link.ProbeController, link.ProbeNoRoute), []string{link.FaultNoRoute}},
		"accepted and closed":                  {"", probe(link.ProbeController, link.ProbeClosed), []string{link.FaultAcceptsAndCloses}},
		"accepted, silent":                     {"", probe(link.ProbeController, link.ProbeSilent), []string{link.FaultAcceptsSilently}},
		"slow answers":                         {"", probe(link.ProbeController, link.ProbeSlow), []string{link.FaultControllerIsSlow}},
		"sockets by probe":                     {"", probe(link.ProbeSocketsOf, link.ProbeSockets), []string{link.FaultSocketsUsedUp}},
	} {
		t.Run(name, func(t *testing.T) {
			it := item()
			it.Board.Mask = "255.255.255.0"
			it.Taken = append(it.Taken, checklist.Claim{Setting: parsers.SettingCoil, Value: "130", Owner: "ship-log"})
			s := link.Seen{Item: it, Entries: story(t, tt.story), Until: stamp.Add(3 * time.Minute)}
			if tt.change != nil {
				tt.change(&s)
			}
			var got []string
			for _, f := range link.NameFaults(s) {
				got = append(got, f.ID)
				if f.Title == "" || f.Remedy == "" || len(f.Evidence) == 0 || len(f.Rests) == 0 && len(s.Probes) == 0 {
					t.Errorf("%+v: wants a title, evidence, what it rests on and a remedy", f)
				}
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
		})
	}
}

// reconnects are n connections ten seconds apart, each ended.
func reconnects(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "%d connect conn=%d\n%d close conn=%d\n", 1+10*i, i+1, 5+10*i, i+1)
	}
	return b.String()
}

// A line of 30 characters takes 31 ms at 9,600 baud, so its end may come after its
// frame: pairs are looked for both ways, and the delay says how far off it may be.
func TestPairsBothWaysWithTheirBound(t *testing.T) {
	line := link.PairUp(story(t, begun+showings(1, "-0.03 on 117", "3.1 off 117")), item().Readers)
	if len(line.Showings) != 1 {
		t.Fatalf("time line %+v; want one showing", line)
	}
	d, bound, ok := line.Showings[0].Delay()
	if !ok || d != -30*time.Millisecond || bound != 36*time.Millisecond {
		t.Errorf("delay %v within %v, %t; want -30ms within 36ms (20 ms of text, 16 ms of the adapter)", d, bound, ok)
	}
	if line.Showings[0].Left.N == 0 || line.Showings[0].Off.N == 0 {
		t.Errorf("%+v; want its leaving and the write of that", line.Showings[0])
	}
}

func TestTheSpreadOfDelays(t *testing.T) {
	var text strings.Builder
	text.WriteString(begun)
	for i, d := range []float64{0.09, 0.30, 0.12, 0.10} {
		at := float64(10 * (i + 1))
		fmt.Fprintf(&text, "%.3f tag-present uid=04A1B2C3D4E5F6\n%.3f on 117\n%.3f tag-absent\n%.3f off 117\n", at, at+d, at+3, at+3.1)
	}
	got := link.PairUp(story(t, text.String()), item().Readers).Spread()
	want := link.Spread{N: 4, Least: 0.09, Median: 0.11, Most: 0.30, Off: 0.036}
	if diff := cmp.Diff(want, got, cmp.Comparer(func(a, b float64) bool { return a-b < 1e-9 && b-a < 1e-9 })); diff != "" {
		t.Errorf("spread (-want +got):\n%s", diff)
	}
}

// Two real connections from two addresses at the stand-in write one coil.
func TestTwoBoardsAtTheStandIn(t *testing.T) {
	s, l := listen(t, nil)
	for _, from := range []string{"127.0.0.2", "127.0.0.3"} {
		dialer := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.ParseIP(from)}}
		conn, err := dialer.DialContext(t.Context(), "tcp", s.Addr())
		if err != nil {
			t.Skipf("this system has no %s: %v", from, err)
		}
		defer conn.Close()
		ask(t, conn, framed(1, unhex(t, "05 00 74 FF 00"))) // address 116, coil 117
	}
	var entries []checklist.Entry
	for i, f := range l.all() {
		entries = append(entries, checklist.Entry{N: int64(i + 1), At: f.At, Type: checklist.EntryFrame, Frame: &f})
	}
	found := link.NameFaults(link.Seen{Item: item(), Entries: entries, Until: stamp.Add(time.Minute)})
	if len(found) != 1 || found[0].ID != link.FaultTwoBoards || !strings.Contains(found[0].Evidence[0], "127.0.0.2 and 127.0.0.3") {
		t.Errorf("named %+v; want two boards, and which", found)
	}
}
