package parsers

import (
	"fmt"
	"regexp/syntax"
	"slices"
)

// An nfa holds all wordings of a profile in one graph. Wordings that begin alike
// share their beginnings, so that a profile of many lines stays small.
type nfa struct {
	nodes    []nfaNode
	shared   map[nfaKey]int32        // end of an element that begins at a node
	programs map[string]*syntax.Prog // of the expressions met
}

type nfaNode struct {
	steps  []nfaStep
	free   []int32 // nodes reached without a byte
	accept []int32 // patterns that end here
}

// nfaStep leads on with any byte from lo to hi.
type nfaStep struct {
	lo, hi byte
	to     int32
}

type nfaKey struct {
	from int32
	expr string
}

// nfaStart is the node where a line begins; before it stand only blanks.
const nfaStart = 0

// newNFA makes the graph. Lines may begin with a prefix, such as a monitor's time
// stamp, before what they say.
func newNFA(prefixes, patterns []*pattern) (*nfa, error) {
	n := &nfa{shared: map[nfaKey]int32{}, programs: map[string]*syntax.Prog{}}
	start := n.node()
	n.blanks(start)
	// What lines say begins at a node of its own, for the prefixes lead there too.
	begin := n.node()
	n.free(start, begin)
	for _, p := range prefixes {
		end, err := n.follow(start, p)
		if err != nil {
			return nil, fmt.Errorf("prefix %q: %w", p.says, err)
		}
		n.blanks(end)
		n.free(end, begin)
	}
	for i, p := range patterns {
		end, err := n.follow(begin, p)
		if err != nil {
			return nil, fmt.Errorf("%q: %w", p.says, err)
		}
		// The end is a node of its own: blanks may follow it, and must not lead on
		// to what a longer wording says.
		last := n.node()
		n.free(end, last)
		n.blanks(last)
		n.nodes[last].accept = append(n.nodes[last].accept, int32(i))
	}
	return n, nil
}

func (n *nfa) node() int32 {
	n.nodes = append(n.nodes, nfaNode{})
	return int32(len(n.nodes) - 1)
}

func (n *nfa) free(from, to int32) { n.nodes[from].free = append(n.nodes[from].free, to) }

func (n *nfa) step(from int32, lo, hi byte, to int32) {
	n.nodes[from].steps = append(n.nodes[from].steps, nfaStep{lo, hi, to})
}

func (n *nfa) blanks(at int32) {
	n.step(at, ' ', ' ', at)
	n.step(at, '\t', '\t', at)
}

// follow adds a pattern's elements from a node on and returns where they end.
func (n *nfa) follow(from int32, p *pattern) (int32, error) {
	for _, e := range p.elements {
		key := nfaKey{from, e.expr}
		end, ok := n.shared[key]
		if !ok {
			var err error
			if end, err = n.element(from, e); err != nil {
				return 0, err
			}
			n.shared[key] = end
		}
		from = end
	}
	return from, nil
}

// element adds an element; literal text the short way.
func (n *nfa) element(from int32, e element) (int32, error) {
	switch {
	case e.hold != nil || e.expr != blankRun && e.lit == 0:
		return n.expression(from, e.expr)
	case e.expr == blankRun:
		end := n.node()
		n.step(from, ' ', ' ', end)
		n.step(from, '\t', '\t', end)
		n.blanks(end)
		return end, nil
	}
	end := n.node()
	for _, c := range bothCases(e.lit) {
		n.step(from, c, c, end)
	}
	return end, nil
}

// bothCases is a byte, and for a letter its other case as well.
func bothCases(c byte) []byte {
	switch {
	case 'a' <= c && c <= 'z':
		return []byte{c - 'a' + 'A', c}
	case 'A' <= c && c <= 'Z':
		return []byte{c, c - 'A' + 'a'}
	}
	return []byte{c}
}

// expression adds a regular expression over bytes as Latin-1.
func (n *nfa) expression(from int32, expr string) (int32, error) {
	prog, ok := n.programs[expr]
	if !ok {
		parsed, err := syntax.Parse(expr, syntax.Perl)
		if err != nil {
			return 0, err
		}
		if prog, err = syntax.Compile(parsed.Simplify()); err != nil {
			return 0, err
		}
		n.programs[expr] = prog
	}
	base := int32(len(n.nodes))
	for range prog.Inst {
		n.node()
	}
	end := n.node()
	n.free(from, base+int32(prog.Start))
	for i, inst := range prog.Inst {
		at, out := base+int32(i), base+int32(inst.Out)
		switch inst.Op {
		case syntax.InstAlt, syntax.InstAltMatch:
			n.free(at, out)
			n.free(at, base+int32(inst.Arg))
		case syntax.InstNop, syntax.InstCapture:
			n.free(at, out)
		case syntax.InstMatch:
			n.free(at, end)
		case syntax.InstRune, syntax.InstRune1, syntax.InstRuneAny, syntax.InstRuneAnyNotNL:
			for c := range 256 {
				if inst.MatchRune(rune(c)) {
					n.byteStep(at, byte(c), out)
				}
			}
		case syntax.InstFail:
		default:
			return 0, fmt.Errorf("expression %q: %v has no place here", expr, inst.Op)
		}
	}
	return end, nil
}

// byteStep adds one byte, joined to the step before where it goes on from it.
func (n *nfa) byteStep(at int32, c byte, to int32) {
	steps := n.nodes[at].steps
	if k := len(steps); k > 0 && steps[k-1].to == to && steps[k-1].hi+1 == c && c != 0 {
		steps[k-1].hi = c
		return
	}
	n.step(at, c, c, to)
}

// A closer finds what is reached without a byte; it keeps its room from one set to the
// next, for there are very many.
type closer struct {
	n                 *nfa
	mark              []bool // of all nodes, false between two sets
	stack, seen, kept []int32
}

// closure adds to a set of nodes all that are reached without a byte, and keeps
// of them, sorted, those that lead on with a byte or accept. What it returns is the
// closer's own until the next call.
func (c *closer) closure(set []int32) []int32 {
	c.stack, c.seen, c.kept = append(c.stack[:0], set...), c.seen[:0], c.kept[:0]
	for len(c.stack) > 0 {
		at := c.stack[len(c.stack)-1]
		c.stack = c.stack[:len(c.stack)-1]
		if c.mark[at] {
			continue
		}
		c.mark[at] = true
		c.seen = append(c.seen, at)
		node := &c.n.nodes[at]
		if len(node.steps) > 0 || len(node.accept) > 0 {
			c.kept = append(c.kept, at)
		}
		c.stack = append(c.stack, node.free...)
	}
	for _, at := range c.seen {
		c.mark[at] = false
	}
	slices.Sort(c.kept)
	return c.kept
}
