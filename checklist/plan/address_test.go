package plan_test

import (
	"encoding/csv"
	"fmt"
	"net/netip"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist/plan"
)

// table reads a table of testdata/tables, whose first line names its source.
func table(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "tables", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("table %s: %d rows, %v", name, len(rows), err)
	}
	var table []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, head := range rows[0] {
			m[head] = row[i]
		}
		table = append(table, m)
	}
	return table
}

// tryIP adds a board with the address to an empty plan.
func tryIP(ip string) error {
	var p plan.Plan
	return p.Add(plan.KindBoard, "rdr-07", "ip="+ip)
}

// The arithmetic of RFC 950 and RFC 4632, and of RFC 3021 for networks of two, as
// another program (Python's ipaddress) computed it: the first and last host may
// be a board's, the network's and the broadcast address may not.
func TestHostsOfANetwork(t *testing.T) {
	for _, row := range table(t, "subnet_cases.csv") {
		t.Run(row["address"]+"/"+row["prefix"], func(t *testing.T) {
			byBits, err := plan.ParseIP(row["address"] + "/" + row["prefix"])
			if err != nil {
				t.Fatal(err)
			}
			byMask, err := plan.ParseIP(row["address"] + "/" + row["mask"])
			if err != nil || byMask != byBits {
				t.Errorf("by mask %s: %v, %v; want %v", row["mask"], byMask, err, byBits)
			}
			if doc := strings.HasPrefix(row["address"], "198.51.100.") || strings.HasPrefix(row["address"], "192.0.2."); doc {
				return // arithmetic only: no device may have it, see below
			}
			for _, host := range []string{row["first_host"], row["last_host"], row["address"]} {
				if last := row["broadcast"]; host == last {
					continue // the table's own address may be the broadcast address
				}
				if err := tryIP(host + "/" + row["prefix"]); err != nil {
					t.Errorf("host %s: %v", host, err)
				}
			}
			network := row["network"] + "/" + row["prefix"]
			if row["broadcast"] == "" {
				return
			}
			for address, reason := range map[string]string{row["network"]: "network address of ", row["broadcast"]: "broadcast address of "} {
				want := fmt.Sprintf("board %q: ip %q: %s%s", "rdr-07", address, reason, network)
				if err := tryIP(address + "/" + row["prefix"]); err == nil || err.Error() != want {
					t.Errorf("%s: %v\nwant %s", address, err, want)
				}
			}
		})
	}
}

// The nets of RFC 5737, 3 are for documentation and "not for local use"; the
// others are from RFC 1122, 3.2.1.3 and RFC 1112, 4.
func TestAddressesThatNoDeviceMayHave(t *testing.T) {
	tests := map[string]string{
		"192.0.2.200/27":    "documentation",
		"198.51.100.17/26":  "documentation",
		"203.0.113.255/16":  "documentation",
		"0.1.2.3/24":        "zero",
		"127.0.0.1/8":       "loopback",
		"224.0.0.1/24":      "multicast",
		"239.255.255.1/24":  "multicast",
		"240.0.0.1/24":      "reserved",
		"255.255.255.255/8": "broadcast",
	}
	for ip, reason := range tests {
		if err := tryIP(ip); err == nil || !strings.Contains(err.Error(), reason) {
			t.Errorf("%s: %v; want a refusal with %q", ip, err, reason)
		}
	}
	for _, ip := range []string{"198.51.101.17/26", "192.0.3.1/24", "203.0.114.1/24", "223.255.255.1/24", "128.0.0.1/16"} {
		if err := tryIP(ip); err != nil {
			t.Errorf("%s: %v; want it taken", ip, err)
		}
	}
}

func TestParseIPRefuses(t *testing.T) {
	for _, text := range []string{
		"", "/", "10.77.0.57", "10.77.0.57/", "10.77.0.57/0", "10.77.0.57/32", "10.77.0.57/33", "10.77.0.57/-1", "10.77.0.57/+24",
		"10.77.0.57/255.0.255.0", "10.77.0.57/0.0.0.255", "10.77.0.57/255.255.255.255", "10.77.0.57/0.0.0.0",
		"10.77.0.057/24", "10.77.0/24", "10.77.0.256/24", "fd00::57/64", "::ffff:10.77.0.57/24", "harbour/24",
	} {
		if p, err := plan.ParseIP(text); err == nil {
			t.Errorf("ParseIP(%q) = %v, want an error", text, p)
		}
	}
}

// RFC 1918, 3: 172.31.255.255 is inside and 172.32.0.0 outside (the RFC from
// memory, the edges from Python's ipaddress).
func TestPublicAddressIsNoted(t *testing.T) {
	tests := map[string]bool{
		"10.0.0.1/8": false, "172.16.0.1/12": false, "172.31.255.254/12": false, "192.168.255.254/16": false,
		"172.32.0.1/12": true, "11.0.0.1/8": true, "192.169.0.1/16": true, "172.15.255.254/12": true,
	}
	for ip, want := range tests {
		var p plan.Plan
		if err := p.Add(plan.KindBoard, "rdr-07", "mac=02:54:57:00:00:57", "ip="+ip); err != nil {
			t.Fatal(err)
		}
		var want2 []plan.Note
		if want {
			want2 = []plan.Note{{Kind: plan.KindBoard, Name: "rdr-07", Text: "ip " + strings.Split(ip, "/")[0] + ": not in a private network (RFC 1918)"}}
		}
		if diff := cmp.Diff(want2, p.Notes()); diff != "" {
			t.Errorf("%s: notes (-want +got)\n%s", ip, diff)
		}
	}
}

func FuzzParseIP(f *testing.F) {
	f.Add("10.77.0.57/24")
	f.Add("10.77.0.57/255.255.255.0")
	f.Fuzz(func(t *testing.T, text string) {
		p, err := plan.ParseIP(text)
		if err != nil {
			return
		}
		if again, err := plan.ParseIP(p.String()); err != nil || again != p {
			t.Errorf("ParseIP(%q) = %v, printed and parsed: %v, %v", text, p, again, err)
		}
		if p.Bits() < 1 || p.Bits() > 31 || !p.Addr().Is4() || p.Addr() == (netip.Addr{}) {
			t.Errorf("ParseIP(%q) = %v, outside of what a board can have", text, p)
		}
	})
}
