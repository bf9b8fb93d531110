package parsers

import (
	"encoding/binary"
	"errors"
	"maps"
	"slices"
)

// Bounds of a profile's automaton: its states, and while it is made the graph's
// nodes that they stand for in all.
const (
	maxStates     = 200_000
	maxStateNodes = 10_000_000
)

// errTooLarge is what happens to a profile of many lines that begin with
// placeholders.
var errTooLarge = errors.New("the lines are too many or too much alike for one automaton; say more before the first placeholder")

// A dfa decides in one pass over a line which wordings it may be. Its cost per
// byte is one look into a table, however many wordings the profile has.
type dfa struct {
	class   [256]uint8
	classes int
	// A row a state: for each class where the next state's row begins, and behind them
	// the state's number. The dead state's row is the first.
	rows   []uint32
	accept [][]int32 // patterns by state, nil for most
	parent []dfaParent
	sample []byte // a typical byte of each class
	order  []int  // classes, those that read well first
}

// dfaParent is how a state was first reached, to tell a text that leads there.
type dfaParent struct {
	state int32
	class uint8
}

const (
	dfaDead  = 0
	dfaStart = 1
)

// newDFA makes the automaton of a graph.
func newDFA(n *nfa) (*dfa, error) {
	d := &dfa{}
	d.classify(n)
	reach := closer{n: n, mark: make([]bool, len(n.nodes))}
	sets := [][]int32{nil, slices.Clone(reach.closure([]int32{nfaStart}))}
	var key []byte
	index := map[string]int32{"": dfaDead, string(setKey(nil, sets[dfaStart])): dfaStart}
	d.parent = make([]dfaParent, 2)
	moves := make([][]int32, d.classes)
	total := 0
	stride := d.classes + 1
	for state := int32(0); int(state) < len(sets); state++ {
		d.rows = append(d.rows, make([]uint32, stride)...)
		d.rows[len(d.rows)-1] = uint32(state)
		var accept []int32
		for _, at := range sets[state] {
			accept = append(accept, n.nodes[at].accept...)
			for _, s := range n.nodes[at].steps {
				last := -1
				for c := int(s.lo); c <= int(s.hi); c++ {
					if k := int(d.class[c]); k != last {
						moves[k] = append(moves[k], s.to)
						last = k
					}
				}
			}
		}
		slices.Sort(accept)
		d.accept = append(d.accept, slices.Compact(accept))
		for _, k := range d.order {
			move := moves[k]
			if len(move) == 0 {
				continue
			}
			set := reach.closure(move)
			moves[k] = move[:0]
			key = setKey(key[:0], set)
			to, ok := index[string(key)]
			if !ok {
				if total += len(set); len(sets) == maxStates || total > maxStateNodes {
					return nil, errTooLarge
				}
				to = int32(len(sets))
				index[string(key)] = to
				sets = append(sets, slices.Clone(set))
				d.parent = append(d.parent, dfaParent{state, uint8(k)})
			}
			d.rows[int(state)*stride+k] = uint32(int(to) * stride)
		}
	}
	return d, nil
}

// classify puts bytes that no step tells apart into one class: it begins with one
// class of all and splits it by every set of bytes that leads from one node to
// another.
func (d *dfa) classify(n *nfa) {
	sets := map[[4]uint64]bool{}
	to := map[int32][4]uint64{}
	for _, node := range n.nodes {
		clear(to)
		for _, s := range node.steps {
			set := to[s.to]
			for c := int(s.lo); c <= int(s.hi); c++ {
				set[c/64] |= 1 << (c % 64)
			}
			to[s.to] = set
		}
		for _, set := range to {
			sets[set] = true
		}
	}
	class, classes := [256]int{}, 1
	for _, set := range slices.SortedFunc(maps.Keys(sets), func(a, b [4]uint64) int { return slices.Compare(a[:], b[:]) }) {
		split := map[int]int{} // class to its part inside the set
		size := map[int]int{}
		for c := range 256 {
			size[class[c]]++
		}
		inside := map[int]int{}
		for c := range 256 {
			if set[c/64]&(1<<(c%64)) != 0 {
				inside[class[c]]++
			}
		}
		for c := range 256 {
			if set[c/64]&(1<<(c%64)) == 0 || inside[class[c]] == size[class[c]] {
				continue
			}
			k, ok := split[class[c]]
			if !ok {
				k = classes
				split[class[c]] = k
				classes++
			}
			class[c] = k
		}
	}
	d.classes = classes
	d.sample = make([]byte, classes)
	for c := range 256 {
		k := class[c]
		d.class[c] = uint8(k)
		if legible(byte(c)) > legible(d.sample[k]) {
			d.sample[k] = byte(c)
		}
	}
	d.order = make([]int, classes)
	for k := range d.order {
		d.order[k] = k
		// A class of no legible byte has its lowest one for a sample.
		if d.sample[k] == 0 {
			d.sample[k] = byte(slices.Index(class[:], k))
		}
	}
	slices.SortStableFunc(d.order, func(a, b int) int { return legible(d.sample[b]) - legible(d.sample[a]) })
}

// legible ranks bytes by how well a person reads them in a message.
func legible(c byte) int {
	switch {
	case 'a' <= c && c <= 'z':
		return 4
	case '0' <= c && c <= '9':
		return 3
	case 'A' <= c && c <= 'Z':
		return 2
	case ' ' <= c && c < 0x7F:
		return 1
	}
	return 0
}

func setKey(b []byte, set []int32) []byte {
	for _, at := range set {
		b = binary.LittleEndian.AppendUint32(b, uint32(at))
	}
	return b
}

// match returns the patterns that the whole of a line may be.
func (d *dfa) match(line []byte) []int32 {
	rows, class := d.rows, &d.class
	row := uint(dfaStart * (d.classes + 1))
	for _, c := range line {
		if row = uint(rows[row+uint(class[c])]); row == 0 {
			return nil
		}
	}
	return d.accept[rows[row+uint(d.classes)]]
}

// text is a shortest text that leads to a state.
func (d *dfa) text(state int32) []byte {
	var b []byte
	for state != dfaStart && state != dfaDead {
		p := d.parent[state]
		b = append(b, d.sample[p.class])
		state = p.state
	}
	slices.Reverse(b)
	return b
}
