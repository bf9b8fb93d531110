package plan_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist/plan"
)

func TestParseSiteFile(t *testing.T) {
	got, err := plan.ParseSiteFile("site.toml", []byte(`
name = "The Tidewater Rooms"
store = "site.db"
[defaults]
wording = "plain"
speed = 9600
listen = "10.77.0.9:502"
[limits]
delay_pass_s = 0.3
`))
	want := plan.SiteFile{
		Name: "The Tidewater Rooms", Store: "site.db",
		Defaults: plan.Defaults{Wording: "plain", Speed: 9600, Listen: "10.77.0.9:502"},
		Limits:   map[string]float64{"delay_pass_s": 0.3},
	}
	if diff := cmp.Diff(want, got); diff != "" || err != nil {
		t.Errorf("ParseSiteFile: %v (-want +got)\n%s", err, diff)
	}
}

// Each error is one line that names the file, the line and the key.
func TestParseSiteFileRefuses(t *testing.T) {
	const head = "name = \"T\"\nstore = \"site.db\"\n"
	tests := map[string]struct{ text, want string }{
		"unknown key":           {head + "colour = 1\n", `site.toml:3: key "colour": not known, there are: name, store, defaults.wording, defaults.speed, defaults.listen, limits.delay_pass_s, limits.delay_fail_s`},
		"slip":                  {head + "\n[defaults]\nlisen = \"127.0.0.1:1502\"\n", `site.toml:5: key "defaults.lisen": not known, did you mean defaults.listen?`},
		"unknown limit":         {head + "[limits]\ndelay = 3\n", `site.toml:4: key "limits.delay": not known, there are: name, store, defaults.wording, defaults.speed, defaults.listen, limits.delay_pass_s, limits.delay_fail_s`},
		"limit of nothing":      {head + "[limits]\ndelay_pass_s = 0.0\n", `site.toml:4: delay_pass_s "0": must be above 0 and at most 3600`},
		"no name":               {"store = \"site.db\"\n", `site.toml: name: missing`},
		"no store":              {"name = \"T\"\n", `site.toml: store: missing, as in store = "site.db"`},
		"store elsewhere":       {"name = \"T\"\nstore = \"../site.db\"\n", `site.toml:2: store "../site.db": must be a file name in the site's folder, or postgres://…`},
		"server without a host": {"name = \"T\"\nstore = \"postgres://\"\n", `site.toml:2: store: no address of a server`},
		"speed too high":        {head + "[defaults]\nspeed = 5000000\n", `speed 5000000: must be "auto" or a number from 50 to 4000000`},
		"speed in words":        {head + "[defaults]\nspeed = \"fast\"\n", `speed fast: must be "auto" or a number from 50 to 4000000`},
		"listen without a port": {head + "[defaults]\nlisten = \"10.77.0.9\"\n", `site.toml:4: listen "10.77.0.9": must be ADDRESS:PORT`},
		"listen by name":        {head + "[defaults]\nlisten = \"bay:502\"\n", `site.toml:4: listen "bay:502": "bay" is no address`},
		"hostile name":          {"name = \"T\\u001b[2J\"\nstore = \"site.db\"\n", `site.toml:1: name "T\x1b[2J": a character that does not print`},
		"no TOML":               {head + "[defaults]\nspeed = = 3\n", `site.toml:4: `},
		"wrong type":            {"name = 7\nstore = \"site.db\"\n", `site.toml:1: field name: a text in "quotes" is wanted, not a whole number`},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			f, err := plan.ParseSiteFile("site.toml", []byte(tt.text))
			if err == nil || !strings.Contains(err.Error(), tt.want) || strings.Contains(err.Error(), "\n") {
				t.Errorf("%+v, %v\nwant %s", f, err, tt.want)
			}
		})
	}
}

func TestSiteFileTextIsReadBack(t *testing.T) {
	for _, want := range []plan.SiteFile{
		{Name: `The "Tidewater" Rooms \ Annex`, Store: "site.db", Defaults: plan.Defaults{Wording: "auto", Listen: "127.0.0.1:1502"}},
		{Name: "Höhle", Store: "postgres://bench@10.77.0.2/site", Defaults: plan.Defaults{Wording: "plain", Speed: 9600, Listen: "10.77.0.9:502"},
			Limits: map[string]float64{"delay_pass_s": 0.25, "delay_fail_s": 2}},
	} {
		got, err := plan.ParseSiteFile("site.toml", want.Text())
		if got.Limits != nil && len(got.Limits) == 0 {
			got.Limits = nil
		}
		if diff := cmp.Diff(want, got); diff != "" || err != nil {
			t.Errorf("%v (-want +got)\n%s\n%s", err, diff, want.Text())
		}
	}
}

func FuzzParseSiteFile(f *testing.F) {
	f.Add(string(plan.SiteFile{Name: "T", Store: "site.db"}.Text()))
	f.Add("name = \"T\"\nstore = \"postgres://h/d\"\n[limits]\ndelay_pass_s = 1e-300\n")
	f.Fuzz(func(t *testing.T, text string) {
		file, err := plan.ParseSiteFile("site.toml", []byte(text))
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("more than one line: %q", err)
			}
			return
		}
		again, err := plan.ParseSiteFile("site.toml", file.Text())
		if err != nil || again.Name != file.Name || again.Store != file.Store || again.Defaults.Speed != file.Defaults.Speed {
			t.Errorf("%+v, printed and parsed: %+v, %v", file, again, err)
		}
	})
}
