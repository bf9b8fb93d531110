package link

import (
	"context"
	"strconv"

	"propwright/checklist"
)

const measureTrial = "coil-trial"

// A coilTrial is one presentation on record, as read back from the log.
type coilTrial struct {
	entry               checklist.Entry
	result              string
	coil, address, unit int // of the first write; -1 where there was none
	value               string
	delay               float64
	timed               bool
}

// trialsOf reads back the presentations of one reader that this step has made.
func trialsOf(s *checklist.Scene, reader int) []coilTrial {
	var all []coilTrial
	for _, e := range s.Measures(measureTrial) {
		if e.Measure.Reader != reader {
			continue
		}
		t := coilTrial{entry: e, result: e.Measure.Params["result"], value: e.Measure.Params["value"]}
		t.coil, t.address, t.unit = whole(e, "coil"), whole(e, "address"), whole(e, "unit")
		if text, timed := e.Measure.Params["delay_s"]; timed {
			d, err := strconv.ParseFloat(text, 64)
			t.delay, t.timed = d, err == nil
		}
		all = append(all, t)
	}
	return all
}

// whole is a parameter that is a whole number, -1 where there is none.
func whole(e checklist.Entry, name string) int {
	n, err := strconv.Atoi(e.Measure.Params[name])
	if err != nil {
		return -1
	}
	return n
}

// recordShown puts a presentation on record under a measurement's name.
func recordShown(s *checklist.Scene, name string, r checklist.Reader, p shown, more ...checklist.Entry) error {
	_, err := s.Measure(measureOf(name, r, p, more...))
	return err
}

func measureOf(name string, r checklist.Reader, p shown, more ...checklist.Entry) checklist.Measure {
	m := checklist.Measure{
		Name: name, Reader: r.Index, Unit: "1", Params: map[string]string{"result": p.result, "spacing_mm": "0"},
		Rests: append(checklist.RefsOf(more...), p.rests()...),
	}
	if p.result == resultOK {
		m.Value = 1
	}
	if coil, on, ok := written(p.on); ok {
		m.Params["coil"], m.Params["address"], m.Params["unit"] = strconv.Itoa(coil), strconv.Itoa(p.on.Frame.Address), strconv.Itoa(p.on.Frame.Unit)
		m.Params["value"], m.Params["answer"] = onOff(on), p.on.Frame.Answer
	}
	if p.timed {
		m.Params["delay_s"] = number(p.delay)
	}
	return m
}

func onOff(on bool) string {
	if on {
		return "on"
	}
	return "off"
}

// presentations makes those of n trials of a reader that are not on record yet.
func presentations(ctx context.Context, s *checklist.Scene, w showing, n int) ([]coilTrial, error) {
	for {
		done := trialsOf(s, w.reader.Index)
		if len(done) >= n {
			return done, nil
		}
		w.text = " (" + strconv.Itoa(len(done)+1) + " of " + strconv.Itoa(n) + ")"
		p, err := show(ctx, s, w)
		if err != nil {
			return nil, err
		}
		if err := recordShown(s, measureTrial, w.reader, p); err != nil {
			return nil, err
		}
	}
}
