package link

import (
	"encoding/binary"
	"sync"
	"time"

	"propwright/checklist"
)

// maxPending is how many requests of one connection may wait for their answers; the
// TCP guide leaves that number to the server (V1.0b, 4.4.1.3). What is more than any
// sensible client has under way only has to be bounded.
const maxPending = 1024

// asked is a request that has no answer yet.
type asked struct {
	transaction uint16
	frame       checklist.Frame
	since       time.Time // by the computer's clock
}

// pending are the requests of a connection that have no answer yet, in their order.
// It is safe for concurrent use.
type pending struct {
	mu  sync.Mutex
	all []asked
}

func transactionOf(adu []byte) uint16 { return binary.BigEndian.Uint16(adu) }

// add takes a request and returns the one that can have no answer any more: that of
// the same transaction, which would be taken for the new one's, or the oldest of too
// many.
func (p *pending) add(a asked) (given asked, ok bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for i, o := range p.all {
		if o.transaction == a.transaction {
			given, ok = o, true
			p.all = append(p.all[:i], p.all[i+1:]...)
			break
		}
	}
	if !ok && len(p.all) == maxPending {
		given, ok = p.all[0], true
		p.all = append(p.all[:0], p.all[1:]...)
	}
	p.all = append(p.all, a)
	return given, ok
}

// answered takes out the request of a transaction.
func (p *pending) answered(transaction uint16) (a asked, ok bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for i, o := range p.all {
		if o.transaction == transaction {
			p.all = append(p.all[:i], p.all[i+1:]...)
			return o, true
		}
	}
	return asked{}, false
}

// overdue takes out the requests from before a time.
func (p *pending) overdue(before time.Time) (late []asked) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for len(p.all) > 0 && p.all[0].since.Before(before) {
		late = append(late, p.all[0])
		p.all = append(p.all[:0], p.all[1:]...)
	}
	return late
}

// oldest is since when the first of them waits; ok is false where none does.
func (p *pending) oldest() (since time.Time, ok bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.all) == 0 {
		return time.Time{}, false
	}
	return p.all[0].since, true
}
