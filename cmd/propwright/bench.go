package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/netip"
	"runtime"
	"slices"
	"strconv"
	"syscall"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"propwright/checklist"
	"propwright/checklist/link"
	"propwright/parsers"
)

const benchLong = `bench looks at this computer's network for a prop's board: which network card owns
the controller's address that the board was built with, or can be given it, with the
command for that and the one that takes it back; whether the port can be listened on;
and whether something else has the address. It changes nothing itself.`

// benchAnswer is how long something at the controller's address may take to answer.
const benchAnswer = time.Second

type benchOptions struct {
	site   string
	asJSON bool
}

func newBenchCmd(d deps) *cobra.Command {
	var o benchOptions
	cmd := &cobra.Command{
		Use:     "bench PROP",
		Short:   "What this computer's network needs to stand in for the controller",
		Long:    benchLong,
		Example: "  propwright bench harbour-bell",
		Args:    checkArgs(cobra.ExactArgs(1)),
		RunE:    func(c *cobra.Command, args []string) error { return runBench(c.Context(), d, o, args[0]) },
	}
	addSiteFlag(cmd, &o.site)
	cmd.Flags().BoolVar(&o.asJSON, "json", false, "print JSON")
	return cmd
}

// A benchView is what there is to say of the bench's network.
type benchView struct {
	Controller string           `json:"controller"` // ADDRESS:PORT
	Network    string           `json:"network"`
	Cards      []link.BenchCard `json:"cards"`
	Owner      string           `json:"owner,omitempty"` // the card that owns the address
	Trouble    string           `json:"trouble,omitempty"`
	Commands   []link.Command   `json:"commands"`
	Ready      bool             `json:"ready"`
}

func runBench(ctx context.Context, d deps, o benchOptions, prop string) error {
	st, err := openPlan(ctx, d, o.site)
	if err != nil {
		return err
	}
	defer st.Close()
	item, err := itemOf(ctx, st, prop)
	if err != nil {
		return err
	}
	v, err := lookAtBench(ctx, item)
	if err != nil {
		return err
	}
	if o.asJSON {
		err = printJSON(d.out, v)
	} else {
		err = v.print(d, item)
	}
	if err != nil || v.Ready {
		return err
	}
	return errVerdict
}

// lookAtBench looks at the cards, the address and the port.
func lookAtBench(ctx context.Context, item checklist.Item) (v benchView, err error) {
	address, err := netip.ParseAddr(item.Controller.Address)
	if err != nil {
		return v, hintedError{usageError{fmt.Errorf("prop %q: its board has no controller in the plan", item.Prop)}, "propwright plan list boards"}
	}
	bits := maskBits(item.Board.Mask)
	cards, err := networkCards()
	if err != nil {
		return v, toolError{what: "network cards", err: err}
	}
	at := netip.AddrPortFrom(address, uint16(item.Controller.Port))
	v = benchView{Controller: at.String(), Network: netip.PrefixFrom(address, bits).Masked().String(), Cards: link.BenchCards(cards, address, bits)}
	switch first := v.Cards; {
	case len(first) > 0 && first[0].Can == link.CanOwns:
		v.Owner = first[0].Name
		v.Ready = v.tryPort(ctx, at)
	case answered(ctx, at, v.Cards):
		v.Trouble = fmt.Sprintf("something answers at %s already, so a controller or another computer has it: do not give this computer its address; take it off this network first", address)
	case len(first) > 0 && first[0].Can == link.CanOwn:
		if c, ok := link.AddressCommand(runtime.GOOS, first[0].Name, address, bits); ok {
			v.Commands = append(v.Commands, c)
		}
		v.portAndFirewall(at)
	default:
		v.Trouble = "no network card is for it: plug the board's network cable into this computer, or into a switch with it"
	}
	v.Commands = list(v.Commands)
	return v, nil
}

// tryPort listens for a moment, to see whether that is allowed.
func (v *benchView) tryPort(ctx context.Context, at netip.AddrPort) bool {
	var config net.ListenConfig
	l, err := config.Listen(ctx, "tcp", at.String())
	switch {
	case err == nil:
		l.Close()
		v.firewall(at)
		return true
	case errors.Is(err, syscall.EADDRINUSE):
		v.Trouble = fmt.Sprintf("port %d is in use on this computer: end the program that listens there", at.Port())
	case errors.Is(err, fs.ErrPermission):
		v.Trouble = fmt.Sprintf("port %d needs a privilege that this user has not", at.Port())
		v.portAndFirewall(at)
	default:
		v.Trouble = fmt.Sprintf("port %d: %v", at.Port(), err)
	}
	return false
}

func (v *benchView) portAndFirewall(at netip.AddrPort) {
	if c, ok := link.PortCommand(runtime.GOOS, int(at.Port())); ok && !mayListen(at.Port()) {
		v.Commands = append(v.Commands, c)
	}
	v.firewall(at)
}

func (v *benchView) firewall(at netip.AddrPort) {
	if c, ok := link.FirewallCommand(runtime.GOOS, int(at.Port())); ok {
		v.Commands = append(v.Commands, c)
	}
}

// mayListen reports whether this user may listen on a port, by trying it on the
// loopback address.
func mayListen(port uint16) bool {
	l, err := net.Listen("tcp", net.JoinHostPort("127.0.0.1", strconv.Itoa(int(port))))
	if err == nil {
		l.Close()
	}
	return !errors.Is(err, fs.ErrPermission)
}

// answered reports whether anything is at an address: it takes a connection, or, in a
// network that a card is in, says that it does not. From farther away a router may say
// so for an address that nobody has.
func answered(ctx context.Context, at netip.AddrPort, cards []link.BenchCard) bool {
	conn, err := (&net.Dialer{Timeout: benchAnswer}).DialContext(ctx, "tcp", at.String())
	if err == nil {
		conn.Close() // nothing was sent
	}
	near := slices.ContainsFunc(cards, func(c link.BenchCard) bool {
		return slices.ContainsFunc(c.Addrs, func(a netip.Prefix) bool { return a.Contains(at.Addr()) })
	})
	return err == nil || near && errors.Is(err, syscall.ECONNREFUSED)
}

// networkCards are this computer's.
func networkCards() ([]link.Card, error) {
	all, err := net.Interfaces()
	if err != nil {
		return nil, err
	}
	var cards []link.Card
	for _, i := range all {
		c := link.Card{Name: i.Name, Up: i.Flags&net.FlagUp != 0 && i.Flags&net.FlagRunning != 0, Loopback: i.Flags&net.FlagLoopback != 0, Addrs: []netip.Prefix{}}
		addrs, err := i.Addrs()
		if err != nil {
			continue // it went away
		}
		for _, a := range addrs {
			if p, err := netip.ParsePrefix(a.String()); err == nil {
				c.Addrs = append(c.Addrs, p)
			}
		}
		cards = append(cards, c)
	}
	return cards, nil
}

// maskBits is the length of a network by its mask, 24 where the plan has none.
func maskBits(mask string) int {
	ip := net.ParseIP(mask).To4()
	if ones, bits := net.IPMask(ip).Size(); bits == 32 && ones > 0 {
		return ones
	}
	return 24
}

// print says it for people.
func (v benchView) print(d deps, item checklist.Item) error {
	fmt.Fprintf(d.out, "controller %s of prop %s: %s, in the board's network %s\n\n", item.Controller.Name, item.Prop, v.Controller, v.Network)
	table := tabwriter.NewWriter(d.out, 0, 0, 2, ' ', 0)
	for _, c := range v.Cards {
		fmt.Fprintf(table, "%s\t%s\t%s\t%v\n", parsers.Printable(c.Name), c.Can, c.Why, c.Addrs)
	}
	if err := table.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(d.out)
	if v.Trouble != "" {
		fmt.Fprintln(d.out, v.Trouble)
	}
	for _, c := range v.Commands {
		fmt.Fprintf(d.out, "%s:\n    %s\nand to take it back at the clean-up:\n    %s\n", c.What, c.Do, c.Undo)
	}
	if v.Ready {
		fmt.Fprintf(d.out, "ready: propwright commission %s --port PORT --listen %s\n", item.Prop, v.Controller)
	}
	return nil
}

// addressReminder says how to take an address off again that this computer has for
// standing in; "" where it is this computer itself.
func addressReminder(listen string) string {
	at, err := netip.ParseAddrPort(listen)
	if err != nil || at.Addr().IsLoopback() || at.Addr().IsUnspecified() {
		return ""
	}
	cards, err := networkCards()
	if err != nil {
		return ""
	}
	for _, c := range cards {
		for _, a := range c.Addrs {
			if a.Addr() != at.Addr() {
				continue
			}
			if command, ok := link.AddressCommand(runtime.GOOS, c.Name, a.Addr(), a.Bits()); ok {
				return fmt.Sprintf("If it was given to this computer for this, take the controller's address off again: %s", command.Undo)
			}
		}
	}
	return ""
}
