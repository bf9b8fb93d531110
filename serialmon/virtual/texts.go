package virtual

import (
	"fmt"
	"strings"
)

// A text is one console line in both styles.
type text struct{ plain, convention string }

// fact builds the line of the open convention from a kind and its fields.
func fact(kind string, pairs ...string) string {
	var b strings.Builder
	b.WriteString("@" + kind)
	for i := 0; i+1 < len(pairs); i += 2 {
		value := pairs[i+1]
		if value == "" || strings.ContainsAny(value, " \t\"") {
			value = `"` + strings.ReplaceAll(value, `"`, `'`) + `"`
		}
		b.WriteString(" " + pairs[i] + "=" + value)
	}
	return b.String()
}

// of makes a text one of a reader's, as boards of several readers print it.
func (t text) of(reader int) text {
	name := fmt.Sprint(reader)
	kind, rest, _ := strings.Cut(t.convention, " ")
	if rest != "" {
		rest = " " + rest
	}
	return text{"reader " + name + ": " + strings.TrimPrefix(t.plain, "reader "), kind + " reader=" + name + rest}
}

// tell prints what a reader has to say.
func (b *Board) tell(reader int, t text) {
	if b.build.readers() > 1 {
		t = t.of(reader)
	}
	b.print(t)
}

// tellList prints what one of the lists has to say: the board's, or a reader's own.
func (b *Board) tellList(n int, t text) {
	if b.build.lists() > 1 {
		t = t.of(n)
	}
	b.print(t)
}

// tagText is a line about one tag; a verb says how the plain style goes on.
func tagText(noun, kind string, u uid, verb string) text {
	return text{noun + " " + u.spaced() + " " + verb, fact(kind, "uid", string(u))}
}

func textStart() text { return text{"---- start ----", fact("boot")} }

func textCause(c cause) text {
	plain := map[cause]string{causePower: "power-on", causeReset: "reset input", causeBrownOut: "brown-out", causeWatchdog: "watchdog"}[c]
	return text{"started after: " + plain, fact("reset-cause", "cause", string(c))}
}

func textFirmware(version string) text {
	return text{"firmware " + firmwareName + " " + version, fact("firmware", "name", firmwareName, "version", version)}
}

func textSetting(name, value string) text {
	return text{"setting " + name + " = " + value, fact("setting", "name", name, "value", value)}
}

func textMAC(mac string) text { return text{"network mac " + mac, fact("address", "mac", mac)} }

func textAddress(ip, mask, gateway string) text {
	return text{
		"network address " + ip + " mask " + mask + " gateway " + gateway,
		fact("address", "ip", ip, "mask", mask, "gateway", gateway),
	}
}

func textVersion(v byte) text {
	hex := fmt.Sprintf("0x%02X", v)
	return text{"reader chip version " + hex, fact("reader-version", "version", hex)}
}

func textSelfTest(result string) text {
	return text{"reader chip self-test " + result, fact("reader-self-test", "result", strings.ReplaceAll(result, " ", "-"))}
}

func textNoChip() text { return text{"reader chip does not answer", fact("reader-missing")} }
func textNoMaster() text {
	return text{"no master tag yet, show one to enrol it", fact("master-missing")}
}

func textMasterKnown(u uid) text {
	return text{"master tag on file: " + u.spaced(), fact("setting", "name", "master", "value", string(u))}
}

func textCards(n int) text {
	return text{fmt.Sprintf("cards on file: %d", n), fact("setting", "name", "cards", "value", fmt.Sprint(n))}
}

func textReady() text { return text{"ready", fact("ready")} }

func textEnrolled(u uid) text { return tagText("master tag", "master-enrolled", u, "is enrolled") }
func textAdded(u uid) text    { return tagText("card", "card-added", u, "added") }
func textRemoved(u uid) text  { return tagText("card", "card-removed", u, "removed") }
func textAccepted(u uid) text { return tagText("card", "card-accepted", u, "accepted") }
func textRefused(u uid) text  { return tagText("card", "card-refused", u, "refused") }
func textPresent(u uid) text  { return tagText("tag", "tag-present", u, "on the reader") }
func textGone(u uid) text     { return tagText("tag", "tag-absent", u, "gone") }

func textListFull() text { return text{"card list full", fact("list-full")} }

func textProgramming(on bool) text {
	if on {
		return text{"programming mode on", fact("program-enter")}
	}
	return text{"programming mode off", fact("program-exit")}
}

func textLink(up bool) text {
	if up {
		return text{"network link up", fact("link-up")}
	}
	return text{"network link down", fact("link-down")}
}

func textController(address, how string) text {
	kind := "controller-down"
	if how == "connected" {
		kind = "controller-up"
	}
	return text{"controller " + address + " " + how, fact(kind, "address", address)}
}

func onOff(on bool) string {
	if on {
		return "on"
	}
	return "off"
}

func textCoil(coil int, on bool) text {
	return text{
		fmt.Sprintf("coil %d written %s", coil, onOff(on)),
		fact("coil-written", "coil", fmt.Sprint(coil), "value", onOff(on)),
	}
}

func textCoilFailed(coil int, why string) text {
	return text{
		fmt.Sprintf("coil %d not written: %s", coil, why),
		fact("coil-failed", "coil", fmt.Sprint(coil), "text", why),
	}
}

func textFault(why string) text {
	return text{"board fault: " + why, fact("board-fault", "text", why)}
}
