package diagnose

import (
	"fmt"
	"slices"
	"strings"
)

// order resolves what tests need and refuses an order that no test can be first in: a
// test comes after those that it needs, and before those that destroy what it looks at.
func (b *builder) order() error {
	for _, s := range b.files {
		for n, t := range s.t.Test {
			of := b.k.Test(t.ID)
			for _, id := range t.Needs {
				i := b.k.Test(id)
				if i < 0 {
					return place{s, n}.wrong("test", "needs", "needs", fmt.Errorf("%q: no such test", id))
				}
				b.k.Tests[of].Needs = append(b.k.Tests[of].Needs, i)
			}
		}
	}
	if cycle := b.k.cycle(); cycle != nil {
		var ids []string
		for _, i := range cycle {
			ids = append(ids, b.k.Tests[i].ID)
		}
		ids = append(ids, ids[0])
		field := "destroys"
		if slices.Contains(b.k.Tests[cycle[0]].Needs, cycle[1%len(cycle)]) {
			field = "needs"
		}
		return b.testAt[ids[0]].wrong("test", field, field, fmt.Errorf("a cycle: %s: each is to come after the next", strings.Join(ids, ", ")))
	}
	return nil
}

// after are the tests that a test has to come after.
func (k *Knowledge) after(t int) []int {
	list := slices.Clone(k.Tests[t].Needs)
	for _, f := range k.Tests[t].Destroys {
		for i := range k.Tests {
			if i != t && k.Tests[i].Finding == f {
				list = append(list, i)
			}
		}
	}
	return list
}

// cycle is a round of tests of which each has to come after the next, nil where there
// is none.
func (k *Knowledge) cycle() []int {
	const open, done = 1, 2
	state := make([]byte, len(k.Tests))
	var path, found []int
	var visit func(int) bool
	visit = func(t int) bool {
		state[t] = open
		path = append(path, t)
		for _, before := range k.after(t) {
			switch state[before] {
			case open:
				found = slices.Clone(path[slices.Index(path, before):])
				return true
			case 0:
				if visit(before) {
					return true
				}
			}
		}
		path = path[:len(path)-1]
		state[t] = done
		return false
	}
	for t := range k.Tests {
		if state[t] == 0 && visit(t) {
			return found
		}
	}
	return nil
}
