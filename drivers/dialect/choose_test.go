package dialect

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestEmbedded(t *testing.T) {
	all, err := Load("")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		kind           Kind
		identity, want string
	}{
		{Supply, "ringup,simulated supply,SUP-7,1", "simulated-supply"},
		{Supply, "ACME,PSU-3,0,1.02", "scpi99-supply"},
		{Supply, "", "scpi99-supply"},
		{Scope, "ringup,simulated oscilloscope,OSC-7,1", "simulated-scope"},
		{Thermometer, "ringup,simulated thermometer,THM-7,1", "simulated-thermometer"},
	} {
		d, err := Choose(all, c.kind, c.identity)
		if err != nil || d.Name != c.want {
			t.Errorf("%s %q: %v, %v, want %s", c.kind, c.identity, d, err, c.want)
		}
		if named, err := ByName(all, c.kind, c.want); err != nil || named != d {
			t.Errorf("by name %s: %v, %v", c.want, named, err)
		}
	}
	if d, err := Choose(all, Scope, "ACME,OSC-9,1,1"); err == nil || !strings.Contains(err.Error(), "ACME,OSC-9") {
		t.Errorf("a scope that no dialect fits: %v, %v", d, err)
	}
	if d, err := ByName(all, Supply, "simulated-scope"); err == nil || !strings.Contains(err.Error(), "scpi99-supply, simulated-supply") {
		t.Errorf("a scope's dialect for a supply: %v, %v", d, err)
	}
	for _, d := range all {
		if d.Guide == "" || d.HardwareTried != "no" {
			t.Errorf("%s: guide %q, hardware tried %q", d.Name, d.Guide, d.HardwareTried)
		}
	}
}

func write(t *testing.T, dir, name, text string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func named(name, identity string) string {
	return strings.NewReplacer(`"mine"`, `"`+name+`"`, `^ACME,`, identity).Replace(rightFile)
}

func TestPrecedence(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, "general.toml", named("general", ""))
	write(t, dir, "maker.toml", named("maker", "^ACME,"))
	write(t, dir, "model.toml", named("model", "^ACME,THM-3,"))
	write(t, dir, "models.toml", named("models", "^ACME,(THM-30|T),"))
	write(t, dir, "sim.toml", named("own-sim", "simulated"))
	write(t, dir, "replaced.toml", named("simulated-thermometer", "^nothing$"))
	write(t, dir, "notes.txt", "not a dialect")
	all, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	for identity, want := range map[string]string{
		"ACME,THM-3,1,1":                       "model",
		"ACME,X,1,1":                           "maker",
		"ACME,T,1,1":                           "models",
		"other,X,1,1":                          "general",
		"ringup,simulated thermometer,THM-7,1": "own-sim",
	} {
		d, err := Choose(all, Thermometer, identity)
		if err != nil || d.Name != want {
			t.Errorf("%q: %v, %v, want %s", identity, d, err, want)
		}
	}
	if d, err := ByName(all, Thermometer, "simulated-thermometer"); err != nil || d.File != filepath.Join(dir, "replaced.toml") {
		t.Errorf("the user's file must replace the one of the same name: %v, %v", d, err)
	}

	write(t, dir, "rival.toml", named("rival", "^ACME,"))
	if all, err = Load(dir); err != nil {
		t.Fatal(err)
	}
	if d, err := Choose(all, Thermometer, "ACME,X,1,1"); err == nil || !strings.Contains(err.Error(), "maker and rival") {
		t.Errorf("two that fit equally: %v, %v, want an error that names them", d, err)
	}
	write(t, dir, "twice.toml", named("rival", "^ACME,X"))
	if _, err := Load(dir); err == nil || !strings.Contains(err.Error(), `"rival" is taken`) {
		t.Errorf("a name used twice: %v", err)
	}
	write(t, dir, "broken.toml", "kind = ")
	if _, err := Load(dir); err == nil || !strings.Contains(err.Error(), filepath.Join(dir, "broken.toml")+":1:") {
		t.Errorf("a broken file: %v", err)
	}
	if _, err := Load(filepath.Join(dir, "none")); err == nil {
		t.Error("a folder that is not there was accepted")
	}
}
