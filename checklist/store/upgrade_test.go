package store_test

import (
	"database/sql"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist/plan"
	"propwright/checklist/store"
)

// A site that an older program made is opened with everything in it, and can hold
// what is new.
func TestOpenBringsAnOlderFileUpToDate(t *testing.T) {
	path := filepath.Join(t.TempDir(), "site.db")
	schema, err := os.ReadFile(filepath.Join("testdata", "schema_1.sql"))
	if err != nil {
		t.Fatal(err)
	}
	old, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	for _, statement := range []string{
		string(schema),
		`INSERT INTO controller VALUES ('bay-1', 'main', '', '10.77.0.10', 502, 1, 1)`,
		`INSERT INTO board VALUES ('rdr-07', 'main', '02:54:57:00:00:57', '10.77.0.57', 24, NULL, 'bay-1', '', 115200, '', '', '', 5)`,
		`INSERT INTO reader VALUES ('rdr-07', 0, 'bay-1', 117, 'follows', 'on')`,
	} {
		if _, err := old.Exec(statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
	if err := old.Close(); err != nil {
		t.Fatal(err)
	}
	for range 2 { // the second time nothing is left to do
		s, err := store.Open(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		p, err := s.Load(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		all := p.ReadersOf("rdr-07")
		if diff := cmp.Diff([]plan.Reader{{Board: "rdr-07", Coil: 117, Behaviour: "follows", AtBoot: "on"}}, all); diff != "" {
			t.Errorf("readers (-want +got):\n%s", diff)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	s, err := store.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.Change(t.Context(), func(p *plan.Plan) error {
		return p.Add(plan.KindReader, "rdr-07/1", "coil=118", "behaviour=toggle", "after_reset=off", "when_dead=stays")
	}); err != nil {
		t.Error(err)
	}
}

// The database itself lets nobody rewrite the service log, whatever program asks.
func TestTheServiceLogIsOnlyAddedTo(t *testing.T) {
	path := filepath.Join(t.TempDir(), "site.db")
	s, err := store.Create(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	err = s.Change(t.Context(), func(p *plan.Plan) error {
		if err := p.Add(plan.KindProp, "harbour-bell", "room=Lighthouse", "cover_mm=6", "drives=light"); err != nil {
			return err
		}
		_, err := p.Log(plan.ServiceEntry{Prop: "harbour-bell", At: time.Now(), Kind: plan.ServiceIncident, Text: "a guest's sleeve", By: "R. Quill"})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	other, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	for _, statement := range []string{"DELETE FROM service", "UPDATE service SET text = 'nothing'"} {
		if _, err := other.Exec(statement); err == nil {
			t.Errorf("%s: done", statement)
		}
	}
}
