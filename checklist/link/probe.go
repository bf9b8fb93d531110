package link

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"strings"
	"syscall"
	"time"
)

// A Probe is one look at the network from this computer, and what it came to.
type Probe struct {
	What     string   `json:"what"` // one of the names of what is looked at
	Target   string   `json:"target"`
	Result   string   `json:"result"` // one of the results
	Evidence []string `json:"evidence"`
	Millis   float64  `json:"ms,omitempty"` // how long the answer took
}

// What probes look at.
const (
	ProbeController = "controller"
	ProbeBoard      = "board"
	ProbeAddress    = "address in use"
	ProbeMAC        = "MAC in use"
	ProbeGateway    = "gateway"
	ProbeSocketsOf  = "sockets of the board"
)

// What they come to.
const (
	ProbeOK        = "ok"
	ProbeSkipped   = "not looked at" // the evidence says why
	ProbeTwice     = "in use twice"
	ProbeNoGateway = "gateway not reachable"
	ProbeNoHost    = "no answer from the host"
	ProbeNoRoute   = "no way there"
	ProbeRefused   = "port shut"
	ProbeClosed    = "accepted, then closed"
	ProbeSilent    = "accepted, no answer"
	ProbeSlow      = "slow"
	ProbeRefuses   = "refuses to have coils read"
	ProbeSockets   = "sockets used up"
)

// Numbers of Windows sockets; see winAddrInUse.
const (
	winConnRefused = syscall.Errno(10061)
	winNetUnreach  = syscall.Errno(10051)
	winHostUnreach = syscall.Errno(10065)
)

// dialResult says what an error of connecting means.
func dialResult(err error) string {
	switch {
	case errors.Is(err, syscall.ECONNREFUSED) || errors.Is(err, winConnRefused):
		return ProbeRefused
	case errors.Is(err, syscall.ENETUNREACH) || errors.Is(err, winNetUnreach):
		return ProbeNoRoute
	}
	return ProbeNoHost // EHOSTUNREACH: nobody answered for the address; else the time was over
}

// A CoilProbe reads a coil at a controller, and nothing else: it writes nothing.
type CoilProbe struct {
	Addr    string // HOST:PORT
	Unit    int
	Address int           // of the coil, as on the wire
	Wait    time.Duration // for each answer; 0 means 3 s
}

// Read reads the coil. Servers differ: one says exception 02 where another says 01,
// and some answer no unit id but their own. So where the first way is refused or not
// answered, address 0 is tried too, function 02 (discrete inputs), and the unit ids
// 255, 1 and 0 (TCP guide V1.0b, 4.4.1.2); the evidence says what each came to. on is
// the coil where it could be read.
func (c CoilProbe) Read(ctx context.Context) (p Probe, on bool) {
	if c.Wait <= 0 {
		c.Wait = defaultAnswerWait
	}
	p = Probe{What: ProbeController, Target: c.Addr, Evidence: []string{}}
	for i, unit := range unitsToTry(c.Unit) {
		result, value := c.readUnit(ctx, &p, byte(unit))
		if i == 0 || result == ProbeOK || result == ProbeSlow {
			p.Result, on = result, value
		}
		if result != ProbeSilent && result != ProbeClosed {
			break
		}
	}
	return p, on
}

func unitsToTry(planned int) (units []int) {
	for _, u := range []int{planned, 255, 1, 0} {
		if len(units) == 0 || u != planned {
			units = append(units, u)
		}
	}
	return units
}

// readUnit tries the ways of reading at one unit id over one connection.
func (c CoilProbe) readUnit(ctx context.Context, p *Probe, unit byte) (result string, on bool) {
	begin := time.Now()
	conn, err := (&net.Dialer{Timeout: c.Wait}).DialContext(ctx, "tcp", c.Addr)
	if err != nil {
		p.Evidence = append(p.Evidence, fmt.Sprintf("connect: %v", reason(err)))
		return dialResult(err), false
	}
	defer conn.Close()
	defer context.AfterFunc(ctx, func() { conn.Close() })()
	p.Evidence = append(p.Evidence, fmt.Sprintf("connected in %.1f ms", ms(time.Since(begin))))
	for i, try := range []struct {
		function byte
		address  int
	}{{readCoils, c.Address}, {readCoils, 0}, {readInputs, c.Address}, {readInputs, 0}} {
		what := fmt.Sprintf("unit %d, function %02X, address %d", unit, try.function, try.address)
		request := []byte{0, byte(i + 1), 0, 0, 0, 6, unit, try.function, byte(try.address >> 8), byte(try.address), 0, 1}
		asked := time.Now()
		reply, err := c.ask(conn, request)
		took := time.Since(asked)
		if err != nil {
			p.Evidence = append(p.Evidence, what+": "+noAnswer(err))
			if errors.Is(err, os.ErrDeadlineExceeded) {
				return ProbeSilent, false
			}
			return ProbeClosed, false
		}
		answer := answerOf(reply)
		p.Evidence = append(p.Evidence, fmt.Sprintf("%s: %s%s after %.1f ms", what, answer, inWords(answer), ms(took)))
		if answer != "ok" || len(reply) <= headerSize+2 {
			continue
		}
		p.Millis = ms(took)
		on = try.address == c.Address && try.function == readCoils && reply[headerSize+2]&1 == 1
		switch {
		case i > 0:
			return ProbeRefuses, false
		case took > slowAnswer:
			return ProbeSlow, on
		}
		return ProbeOK, on
	}
	return ProbeRefuses, false
}

func (c CoilProbe) ask(conn net.Conn, request []byte) ([]byte, error) {
	if err := conn.SetDeadline(time.Now().Add(c.Wait)); err != nil {
		return nil, err
	}
	if _, err := conn.Write(request); err != nil {
		return nil, err
	}
	return ReadADU(conn)
}

func noAnswer(err error) string {
	switch {
	case errors.Is(err, os.ErrDeadlineExceeded):
		return "no answer"
	case isTheirs(err):
		return "connection closed"
	}
	return reason(err).Error()
}

func inWords(answer string) string {
	if name := exceptions[answer]; name != "" {
		return " (" + name + ")"
	}
	return ""
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// ProbeSocketsAt opens connections to a port of a board until one is refused, one more
// than the larger shield has sockets at most, and closes them again. A board that took
// exactly four or eight and then no more has no socket left; that it still answers a ping
// (Ping) tells it from one that has gone.
func ProbeSocketsAt(ctx context.Context, dial func(ctx context.Context, addr string) (net.Conn, error), ping Pinger, addr string) Probe {
	p := Probe{What: ProbeSocketsOf, Target: addr, Result: ProbeOK}
	var open []net.Conn
	defer func() {
		for _, c := range open {
			c.Close()
		}
	}()
	most := socketCounts[len(socketCounts)-1] + 1
	for len(open) < most {
		conn, err := dial(ctx, addr)
		if err != nil {
			p.Evidence = []string{fmt.Sprintf("%d connections taken, the next one: %v", len(open), reason(err))}
			p.Result = dialResult(err)
			p.Evidence = append(p.Evidence, pinged(ctx, ping, addr))
			for _, n := range socketCounts {
				if len(open) == n {
					p.Result = ProbeSockets
				}
			}
			return p
		}
		open = append(open, conn)
	}
	p.Evidence = []string{fmt.Sprintf("%d connections taken", len(open))}
	return p
}

// A Pinger is Ping or what stands for it.
type Pinger func(ctx context.Context, host netip.Addr) (took time.Duration, ok bool, err error)

// pinged says what a ping of the host at addr (HOST:PORT) comes to.
func pinged(ctx context.Context, ping Pinger, addr string) string {
	host, err := netip.ParseAddrPort(addr)
	if err != nil {
		return fmt.Sprintf("ping: not tried, %q is no address", addr)
	}
	switch took, ok, err := ping(ctx, host.Addr()); {
	case err != nil:
		return fmt.Sprintf("ping: not tried, %v", reason(err))
	case !ok:
		return "ping: no answer"
	default:
		return fmt.Sprintf("ping: answered after %.1f ms", ms(took))
	}
}

// An ARPProbe asks who has addresses, as RFC 5227 describes it: the sender's address is
// 0.0.0.0, so that no neighbour's table is changed by the question.
type ARPProbe struct {
	Card    string // name of this computer's network card
	Asks    int    // for each address; 0 means 3 (PROBE_NUM)
	Between time.Duration
}

// ErrNoARP says that this computer's system, or its user's rights, let no program ask
// by ARP.
var ErrNoARP = errors.New("an ARP probe is not possible here")

// arpBetween is PROBE_MIN of RFC 5227, 1.1.
const arpBetween = time.Second

// announceWait is ANNOUNCE_WAIT of RFC 5227, 1.1, as a multiple of PROBE_MIN: how long
// answers to the last ask are waited for, since a network may be slow.
const announceWait = 2

// arpAsks is PROBE_NUM of RFC 5227, 1.1.
const arpAsks = 3

// Owners are the MAC addresses that answered for an address, upper case, in order.
type Owners map[string][]string

// Judge says of the answers whether an address has two owners, and whether one MAC
// address answers for two addresses of boards.
func (o Owners) Judge(card, ip string, others []string) []Probe {
	address := Probe{What: ProbeAddress, Target: ip, Result: ProbeOK, Evidence: []string{fmt.Sprintf("on %s nobody answers for %s", card, ip)}}
	macs := o[ip]
	switch {
	case len(macs) > 1:
		address.Result = ProbeTwice
		address.Evidence = []string{fmt.Sprintf("on %s %s answer for %s", card, strings.Join(macs, " and "), ip)}
	case len(macs) == 1:
		address.Evidence = []string{fmt.Sprintf("on %s only %s answers for %s", card, macs[0], ip)}
	}
	probes := []Probe{address}
	for _, other := range others {
		for _, mac := range o[other] {
			if len(macs) == 1 && mac == macs[0] && other != ip { // of two owners of one address each may have others
				return append(probes, Probe{What: ProbeMAC, Target: mac, Result: ProbeTwice, Evidence: []string{fmt.Sprintf("on %s %s answers for %s and for %s", card, mac, ip, other)}})
			}
		}
	}
	return probes
}
