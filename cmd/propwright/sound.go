package main

import (
	"encoding/binary"
	"math"
	"time"

	"propwright/checklist"
)

// A tone is a stretch of a sound; hertz 0 is silence.
type tone struct {
	hertz float64
	long  time.Duration
}

// tonesOf are the three sounds: good rises, bad is low and long, three times, and
// need-you knocks twice at one pitch. They differ in number and length as well as
// in pitch, for ears that hear one better than the other.
func tonesOf(s checklist.Sound) []tone {
	const gap = 70 * time.Millisecond
	switch s {
	case checklist.SoundGood:
		return []tone{{880, 90 * time.Millisecond}, {0, 20 * time.Millisecond}, {1320, 160 * time.Millisecond}}
	case checklist.SoundBad:
		return []tone{{220, 220 * time.Millisecond}, {0, gap}, {220, 220 * time.Millisecond}, {0, gap}, {220, 220 * time.Millisecond}}
	default:
		return []tone{{587, 110 * time.Millisecond}, {0, gap}, {587, 110 * time.Millisecond}}
	}
}

// bellsOf is how often a terminal's bell rings instead: one good, two wanted,
// three bad.
func bellsOf(s checklist.Sound) int {
	switch s {
	case checklist.SoundGood:
		return 1
	case checklist.SoundNeed:
		return 2
	}
	return 3
}

const (
	wavRate  = 16000 // samples a second
	wavFade  = 80    // samples over which a tone comes and goes, against clicks
	wavLevel = 0.5   // of full scale
)

// wav is a sound as a RIFF/WAVE file: one channel of 16-bit PCM. The layout is that
// of the Multimedia Programming Interface and Data Specifications 1.0 of 1991.
func wav(tones []tone) []byte {
	var samples []byte
	for _, t := range tones {
		n := int(t.long.Seconds() * wavRate)
		for i := range n {
			fade := min(1, float64(i)/wavFade, float64(n-i)/wavFade)
			v := wavLevel * fade * math.Sin(2*math.Pi*t.hertz*float64(i)/wavRate)
			samples = binary.LittleEndian.AppendUint16(samples, uint16(int16(math.Round(v*math.MaxInt16))))
		}
	}
	const bytesPerSample = 2
	head := []byte("RIFF")
	head = binary.LittleEndian.AppendUint32(head, uint32(36+len(samples)))
	head = append(head, "WAVEfmt "...)
	head = binary.LittleEndian.AppendUint32(head, 16)
	head = binary.LittleEndian.AppendUint16(head, 1) // PCM
	head = binary.LittleEndian.AppendUint16(head, 1) // channel
	head = binary.LittleEndian.AppendUint32(head, wavRate)
	head = binary.LittleEndian.AppendUint32(head, wavRate*bytesPerSample)
	head = binary.LittleEndian.AppendUint16(head, bytesPerSample)
	head = binary.LittleEndian.AppendUint16(head, 8*bytesPerSample)
	head = append(head, "data"...)
	head = binary.LittleEndian.AppendUint32(head, uint32(len(samples)))
	return append(head, samples...)
}
