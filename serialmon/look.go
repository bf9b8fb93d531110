package serialmon

import (
	"cmp"
	"math"
	"slices"
	"sync"
)

// CommonSpeeds are the speeds that boards are built with, slowest first.
func CommonSpeeds() []int {
	return []int{1200, 2400, 4800, 9600, 14400, 19200, 28800, 38400, 57600, 74880, 115200, 230400, 250000, 460800, 500000, 921600, 1000000}
}

// A Likeness is how much garbage looks like text that was sent at a speed.
type Likeness struct {
	Baud  int
	Share float64 // of all speeds; they add up to 1
}

const (
	// lookNewest is how many bytes the look is taken from, lookLeast how many it takes.
	lookNewest = 1024
	lookLeast  = 64
	// lookTemper makes up for bytes that are not independent of each other: so many
	// count as one.
	lookTemper = 40
	// lookMisfit is by how much, in nats a byte, garbage may fit a speed worse than
	// text sent at that speed does on the average. Beyond it no speed explains it.
	lookMisfit = 1.6
	lookRare   = 2e-3 // share of a value that the sample never gave
)

// Looks says at which speeds text was likely sent that arrives as garbage at the speed
// readAt, the likeliest first; nil where it is too little or looks like none of them.
// Each speed garbles text in a way of its own: which values come, and how often. The
// expected shares are made by Misread from a sample of console text.
func Looks(heard []byte, readAt int) []Likeness {
	heard = heard[max(0, len(heard)-lookNewest):]
	if len(heard) < lookLeast || readAt <= 0 {
		return nil
	}
	var count [256]float64
	for _, c := range heard {
		count[c]++
	}
	type fit struct {
		baud int
		sum  float64
	}
	var fits []fit
	for _, baud := range CommonSpeeds() {
		f := faceOf(baud, readAt)
		if baud == readAt || f == nil {
			continue
		}
		sum := 0.0
		for c, n := range count {
			sum += n * f.log[c]
		}
		if f.mean-sum/float64(len(heard)) <= lookMisfit {
			fits = append(fits, fit{baud, sum})
		}
	}
	if len(fits) == 0 {
		return nil
	}
	slices.SortStableFunc(fits, func(a, b fit) int { return cmp.Compare(b.sum, a.sum) })
	var looks []Likeness
	total := 0.0
	for _, f := range fits {
		share := math.Exp((f.sum - fits[0].sum) / lookTemper)
		total += share
		looks = append(looks, Likeness{f.baud, share})
	}
	for i := range looks {
		looks[i].Share /= total
	}
	return looks
}

// A face is what text sent at one speed looks like at another.
type face struct {
	log  [256]float64 // logarithm of each value's share
	mean float64      // of log over the sample itself
}

var faces sync.Map // of *face by [2]int: sent at, read at

// faceOf is nil where nothing arrives.
func faceOf(sentAt, readAt int) *face {
	key := [2]int{sentAt, readAt}
	if f, ok := faces.Load(key); ok {
		return f.(*face)
	}
	var count [256]float64
	total := 0.0
	for _, line := range lookSample {
		for _, c := range Misread([]byte(line), sentAt, readAt) {
			count[c]++
			total++
		}
	}
	var f *face
	if total > 0 {
		f = &face{}
		for c, n := range count {
			share := (n/total + lookRare) / (1 + 256*lookRare)
			f.log[c] = math.Log(share)
			f.mean += n / total * f.log[c]
		}
	}
	faces.Store(key, f)
	return f
}

// lookSample is console text as boards of the trade print it, each text sent without a
// pause: sentences, pairs of digits, figures, keys and values.
var lookSample = []string{
	"---- start ----\r\nstarted after: power-on\r\nfirmware larkspur 3.2.0\r\n",
	"setting coil = 117\r\nsetting controller = 10.77.0.10\r\nreader chip version 0x92\r\n",
	"tag 5C 0A 91 E3 on the reader\r\n", "card 5C 0A 91 E3 accepted\r\n", "tag 5C 0A 91 E3 gone\r\n",
	"Scanned UID: 04 3F A1 22 B7 60 80\r\n", "Card UID: 7E 31 0B 44\r\nPICC type: 1K\r\n",
	"network link up\r\ncontroller 10.77.0.10 connected\r\n", "coil 117 written on\r\n",
	"12:04:51.113 -> alive 22 s, loop 423 us\r\n", "{\"ms\":10653,\"ev\":\"beat\",\"loop_us\":1346}\r\n",
	"[NET] ADDR 192.168.1.177\r\n", "00002385 [RDR] CS 10 RST 9\r\n", "I (411) reader: ready\r\n",
	"1023,512,17,0\r\n", "temp=21.5;hum=40;v=5.02\r\n", "ERROR: no communication with the reader\r\n", "ok\r\n",
}
