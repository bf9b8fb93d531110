package virtual

import (
	"time"

	"propwright/serialmon"
)

// uartLimit bounds the lines that wait to be sent; a firmware would stand still.
const uartLimit = 256

// uart sends lines one after the other, each as long as its bits take: the first
// byte when it would arrive, the rest at the end of the line.
type uart struct {
	waiting [][]byte
	sending []byte    // as it arrives at the host; nil when idle
	took    int       // bytes sent of it, one at most before its end
	began   time.Time // of sending
	lasts   time.Duration
}

// print sends lines in the board's style.
func (b *Board) print(lines ...text) {
	for _, t := range lines {
		line := t.plain
		if b.cfg.Style == StyleConvention {
			line = t.convention
		}
		if len(b.uart.waiting) < uartLimit {
			b.uart.waiting = append(b.uart.waiting, []byte(line+"\r\n"))
		}
	}
	if b.uart.sending == nil {
		b.sendNext()
	}
}

func (b *Board) sendNext() {
	if len(b.uart.waiting) == 0 {
		b.uart.sending = nil
		return
	}
	line := b.uart.waiting[0]
	b.uart.waiting = b.uart.waiting[1:]
	baud := b.build.Baud
	b.uart.lasts = bits(10*len(line), baud)
	b.uart.began = b.clock.Now()
	b.uart.took = 0
	b.uart.sending = line
	if b.line != nil {
		if at := b.line.HostSpeed(); at > 0 && at != baud {
			b.uart.sending = serialmon.Misread(line, baud, at)
			if b.uart.sending == nil {
				b.uart.sending = []byte{}
			}
		}
	}
	b.after(bits(10, baud), func() {
		b.send(min(1, len(b.uart.sending)))
		b.after(b.uart.lasts-bits(10, baud), func() {
			b.send(len(b.uart.sending))
			b.sendNext()
		})
	})
}

// bits is how long so many bits take.
func bits(n, baud int) time.Duration {
	return time.Duration(float64(n) / float64(baud) * float64(time.Second))
}

// send passes the line on up to a byte.
func (b *Board) send(upTo int) {
	p := b.uart.sending[b.uart.took:upTo]
	b.uart.took = upTo
	if len(p) == 0 || b.line == nil || !b.usb {
		return
	}
	b.clock.Depart(len(p))
	b.landing += len(p) - b.line.Write(p)
}

// cutLine ends sending at once: what had left the board by now arrives.
func (b *Board) cutLine() {
	if u := &b.uart; len(u.sending) > u.took && u.lasts > 0 {
		gone := float64(b.clock.Now().Sub(u.began)) / float64(u.lasts)
		if n := int(gone * float64(len(u.sending))); n > u.took && n < len(u.sending) {
			b.send(n)
		}
	}
	b.uart = uart{}
}
