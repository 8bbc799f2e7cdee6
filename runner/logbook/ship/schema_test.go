//go:build unix

package ship

import (
	"errors"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
)

func TestTablesComeForward(t *testing.T) {
	d, b := newDatabase(t), newBook(t)
	to := d.target("postgres")
	add(t, b, begin(t, b, "one"), 1, 5)
	once(t, b, to, Options{})
	conn, err := pgx.ConnectConfig(t.Context(), to.config)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	later := append(migrations[:len(migrations):len(migrations)], "ALTER TABLE ringup.run ADD operator text; CREATE TABLE ringup.more (x integer)", "INSERT INTO ringup.more VALUES (7)")
	broken := append(later[:len(migrations)+1:len(migrations)+1], "CREATE TABLE ringup.half (x integer); SELECT no_such_function()")
	if err := migrate(t.Context(), conn, broken); err == nil || !strings.Contains(err.Error(), "no_such_function") {
		t.Errorf("a broken migration: %v", err)
	}
	d.Want("SELECT version, to_regclass('ringup.half') IS NULL, to_regclass('ringup.more') IS NULL FROM ringup.schema", "1|t|t")

	for range 2 {
		if err := migrate(t.Context(), conn, later); err != nil {
			t.Fatal(err)
		}
		d.Want("SELECT version, x FROM ringup.schema, ringup.more", "3|7")
	}
	d.wantAll(b)

	// The older ringup leaves the newer tables alone.
	add(t, b, 1, 6, 7)
	_, err = Once(t.Context(), b, to, Options{})
	if !errors.Is(err, ErrNewer) || !strings.Contains(err.Error(), "version 3, this ringup knows up to 1; use that newer ringup") {
		t.Errorf("shipping to newer tables: %v", err)
	}
	d.Want("SELECT count(*) FROM ringup.cycle", "5")
}

// The schema may have been made for the role beforehand.
func TestSchemaThatIsThere(t *testing.T) {
	d, b := newDatabase(t), newBook(t)
	d.SQL("CREATE ROLE tenant LOGIN; CREATE SCHEMA ringup AUTHORIZATION tenant")
	t.Cleanup(func() { d.SQL("DROP OWNED BY tenant; DROP ROLE tenant") })
	once(t, b, d.target("tenant"), Options{})
	d.Want("SELECT count(*) FROM ringup.logbook", "1")
}
