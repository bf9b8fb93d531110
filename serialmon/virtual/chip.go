package virtual

// Versions that the chip's register tells: 0x92 is version 2.0 of the MFRC522
// (data sheet, 9.3.4.8); 0xB2 is what compatible chips were seen to tell; 0x00 and
// 0xFF are a bus on which nobody answers.
const (
	chipGood  = 0x92
	chipClone = 0xB2
)

func silentChip(version byte) bool { return version == 0x00 || version == 0xFF }

// chipVersion reads a reader's version register. Where there are several readers,
// reader 0 has the fault.
func (b *Board) chipVersion(reader int) byte {
	if reader > 0 {
		return chipGood
	}
	switch b.cfg.Fault {
	case faultReaderZero:
		return 0x00
	case faultReaderOnes:
		return 0xFF
	case faultCloneChip:
		return chipClone
	case faultLooseJoint:
		return b.looseVersion()
	}
	return chipGood
}

// looseVersion is what comes over a joint that has contact now and then. The
// values are such as were reported of boards with that trouble.
func (b *Board) looseVersion() byte {
	wrong := 0.35
	if b.flexed == 0 {
		wrong = 0.70
	}
	noise := []byte{0x00, 0xFF, 0x8C, 0x88, 0xCF, 0x80, 0x18}
	value, lost := noise[b.random.reader.IntN(len(noise))], b.random.reader.Float64() < wrong
	if h := &b.hands[0]; b.flexed == 0 && !h.flexRead {
		h.flexRead, lost = true, true // the first bend always opens it
	}
	if lost {
		return value
	}
	return chipGood
}
