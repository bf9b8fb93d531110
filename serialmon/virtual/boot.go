package virtual

import (
	"strconv"
	"time"
)

const (
	firmwareName    = "larkspur"
	firmwareVersion = "3.2.0"
)

// When what happens after a start. A board is through its start text in 1.2 s; the
// network has its link after 2 s, which is what negotiation takes (common practice,
// no source).
const (
	bootText    = 150 * time.Millisecond // the boot loader is through
	bootNetwork = 500 * time.Millisecond
	bootRadio   = 700 * time.Millisecond
	bootTested  = 950 * time.Millisecond
	bootServes  = 1200 * time.Millisecond
	linkAfter   = 2 * time.Second
)

// brownOutPeriod and its spread are those of the fault brown-out.
const (
	brownOutPeriod = 2100 * time.Millisecond
	brownOutSpread = 100 * time.Millisecond
)

// firmware is what a firmware holds in volatile memory.
type firmware struct {
	radio      bool
	serves     bool
	lists      []listState
	readers    []readerState
	red, green time.Time // until when those lamps stay lit
}

// listState is what a firmware holds of one master and list.
type listState struct {
	programming bool
	master      uid // as far as it knows
}

// readerState is what a firmware holds of one reader.
type readerState struct {
	chip     byte      // version that the chip told
	deaf     bool      // no tag is read
	tag      uid       // on the reader, as far as it knows
	since    time.Time // of tag
	absent   int       // polls in a row without it
	lay      uid       // lay there at the start and is left alone until it was lifted
	switched bool      // held too long, and has been taken note of
	accepted bool      // tag is accepted and the coil is on for it
}

// start begins a start. Everything before is gone.
func (b *Board) start(c cause) {
	b.halt()
	b.lamps.show(b.clock.Now(), true, pattern{})
	hangs := c == causePower && b.ownSupplyAlone() && b.fault(faultColdStart) && b.cold.hangs()
	stages := []stage{{bootText, func() { b.bootText(c) }}}
	if !hangs {
		link := between(b.random.net, linkAfter-200*time.Millisecond, linkAfter+200*time.Millisecond)
		stages = append(stages, stage{bootNetwork, b.bootNetwork}, stage{bootRadio, b.bootRadio},
			stage{bootTested, b.bootSelfTest}, stage{bootServes, b.bootServe}, stage{link, b.linkFound})
	}
	b.stages(0, stages)
	if hangs {
		return
	}
	if b.fault(faultBrownOut) {
		b.after(between(b.random.boot, brownOutPeriod-brownOutSpread, brownOutPeriod+brownOutSpread), func() { b.start(causeBrownOut) })
	}
}

// A stage of a start, and how long after its beginning it comes.
type stage struct {
	at time.Duration
	do func()
}

// stages does one after the other: timers of a paced clock that are due at nearly
// the same moment may come in any order.
func (b *Board) stages(now time.Duration, rest []stage) {
	if len(rest) == 0 {
		return
	}
	b.after(rest[0].at-now, func() {
		rest[0].do()
		b.stages(rest[0].at, rest[1:])
	})
}

func (b *Board) bootText(c cause) {
	b.print(textStart(), textCause(c), textFirmware(b.version))
	silent := b.fault(faultSettingsSilent)
	if !silent {
		for r := range b.build.readers() {
			b.tell(r, textSetting("coil", strconv.Itoa(b.build.coil(r))))
		}
	}
	b.print(textSetting("polarity", b.build.Polarity))
	if !silent {
		b.print(textSetting("leaving", b.build.Leaving))
	}
	if !b.fault(faultWrongController) {
		b.print(textSetting("controller", b.build.Controller))
	}
	b.print(textSetting("unit", strconv.Itoa(b.build.Unit)))
}

func (b *Board) bootNetwork() {
	if b.fault(faultShieldMissing) {
		b.print(textFault("network chip not found"))
		return
	}
	b.print(textMAC(b.build.MAC), textAddress(b.build.IP, b.build.Mask, b.build.Gateway))
}

// bootRadio switches the field on, which is when a board draws most, and asks the
// chip who it is.
func (b *Board) bootRadio() {
	b.fw.radio = true
	if b.fault(faultWeakAdapter) && b.ownSupplyAlone() {
		b.after(weakAfter, func() { b.start(causeBrownOut) })
	}
	for i := range b.fw.readers {
		r := &b.fw.readers[i]
		r.chip = b.chipVersion(i)
		b.tell(i, textVersion(r.chip))
		if silentChip(r.chip) {
			r.deaf = true
			b.tell(i, textNoChip())
		}
	}
}

func (b *Board) bootSelfTest() {
	for i := range b.fw.readers {
		r := &b.fw.readers[i]
		switch r.chip {
		case chipGood:
			b.tell(i, textSelfTest("passed"))
		case chipClone:
			b.tell(i, textSelfTest("not comparable"))
		default:
			if !silentChip(r.chip) {
				r.deaf = true
				b.tell(i, textSelfTest("failed"))
			}
		}
	}
}

func (b *Board) bootServe() {
	b.fw.serves = true
	for i := range b.fw.lists {
		l, kept := &b.fw.lists[i], b.memory.list(i)
		l.master = kept.Master
		if b.fault(faultMasterLost) {
			l.master = ""
		}
		if l.master == "" {
			b.tellList(i, textNoMaster())
		} else {
			b.tellList(i, textMasterKnown(l.master))
		}
		b.tellList(i, textCards(len(kept.Cards)))
	}
	for i := range b.fw.readers {
		if b.build.AtBoot == "off" {
			b.fw.readers[i].lay = b.sense(i)
		}
		if b.build.AfterReset != "keeps" {
			b.toggled[i] = false
		}
		b.net.coils[i] = b.toggled[i]
	}
	b.print(textReady())
	b.showLamps()
	b.poll()
}
