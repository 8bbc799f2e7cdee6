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
		// Maker and model as these families give them, from memory but for the
		// RND and Genesys replies, which their manuals print; serial numbers are
		// invented.
		{Supply, "B&K PRECISION,9122,600123456789,V1.74", "bk-9120"},
		{Supply, "BK PRECISION,9201,602198013737710001,1.15-1.16", "scpi99-supply"},
		{Supply, "LAMBDA,GEN20-38", "tdk-genesys"},
		{Supply, "TDK-LAMBDA,GEN60-12.5-LAN,S/N:1234,REV:1U:3.0", "tdk-genesys"},
		{Supply, "ID XT7-6 SN 1234", "xantrex-xt"},
		{Supply, "HAMEG,HMP4040,012345678,HW50020001/SW2.41", "rs-hmp"},
		{Supply, "ROHDE&SCHWARZ,HMP2020,101234,HW50020003/SW2.62", "rs-hmp"},
		{Supply, "ROHDE&SCHWARZ,NGE103B,5601.3800k03/101234,1.54", "scpi99-supply"},
		{Supply, "RIGOL TECHNOLOGIES,DP832,DP8C163650123,00.01.14", "rigol-dp800"},
		{Supply, "RIGOL TECHNOLOGIES,DP2031,DP2A1234,00.01.00", "scpi99-supply"},
		{Supply, "RND 320-KA3005P V1.3", "ka-series"},
		{Supply, "KORADKA3005PV2.0", "ka-series"},
		{Supply, "TENMA 72-2705 V2.1", "ka-series"},
		{Supply, "GW INSTEK,GPD-3303S,SN:EK880123,V2.0", "gw-gpd"},
		{Supply, "Agilent Technologies,E3631A,0,2.1-5.0-1.0", "scpi99-supply"},
		{Scope, "AGILENT TECHNOLOGIES,DSO-X 3054A,MY50070123,02.41.2015102200", "keysight-infiniivision"},
		{Scope, "KEYSIGHT TECHNOLOGIES,MSO-X 2024A,MY51234567,02.65.2021030741", "keysight-infiniivision"},
		{Scope, "KEYSIGHT TECHNOLOGIES,EDU-X 1002G,CN57123456,01.10.2018", "keysight-infiniivision"},
		{Scope, "RIGOL TECHNOLOGIES,DS1104Z,DS1ZA164012345,00.04.04.SP4", "rigol-ds1000z"},
		{Scope, "RIGOL TECHNOLOGIES,DS1202Z-E,DS1ZE212012345,00.06.03", "rigol-ds1000z"},
		{Scope, "RIGOL TECHNOLOGIES,MSO1104Z,DS1ZD164012345,00.04.04", "rigol-ds1000z"},
		{Scope, "TEKTRONIX,MDO3024,C012345,CF:91.1CT FV:v1.30", "tektronix-mso"},
		{Scope, "TEKTRONIX,DPO4054,C010101,CF:91.1CT FV:v2.68", "tektronix-mso"},
		{Scope, "Siglent Technologies,SDS1104X-E,SDSMMEBQ3R1234,8.2.6.1.37R9", "siglent-sds1000"},
		{Thermometer, "FLUKE,1502A,A12345,1.02", "fluke-1502"},
		{Thermometer, "HART,1504,B01234,1.05", "fluke-1502"},
		{Thermometer, "Keysight Technologies,34470A,MY54500123,A.02.14", "scpi99-thermometer"},
		{Switch, "HEWLETT-PACKARD,SWITCHBOX,0,A.08.00", "scpi99-switch"},
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
	// Instruments of which another family of the same maker has a dialect.
	for _, identity := range []string{"RIGOL TECHNOLOGIES,DHO804,DHO8A260123456,00.01.02", "TEKTRONIX,TDS 2012C,C012345,CF:91.1CT FV:v24.26", "SIGLENT,SDS2104X PLUS,SDS2PDDD6R1234,1.3.9R6", "KEYSIGHT TECHNOLOGIES,MSOS104A,MY56310123,06.40.00620"} {
		if d, err := Choose(all, Scope, identity); err == nil {
			t.Errorf("%q: %s must not be taken for it", identity, d.Name)
		}
	}
	if d, err := ByName(all, Supply, "simulated-scope"); err == nil || !strings.Contains(err.Error(), "scpi99-supply, simulated-supply") {
		t.Errorf("a scope's dialect for a supply: %v, %v", d, err)
	}
	for _, d := range all {
		if d.Guide == "" || d.HardwareTried != "no" {
			t.Errorf("%s: guide %q, hardware tried %q", d.Name, d.Guide, d.HardwareTried)
		}
		if d.File != "built-in dialect "+d.Name+".toml" {
			t.Errorf("%s: the file must be named as the dialect", d.File)
		}
	}
}

func TestValidate(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, "right.toml", rightFile)
	write(t, dir, "wrong.toml", strings.Replace(rightFile, "TEMPerature?", "TEMPerature? {channel:d}", 1))
	if d, err := Validate(filepath.Join(dir, "right.toml")); err != nil || d.Name != "mine" {
		t.Errorf("%v, %v", d, err)
	}
	path := filepath.Join(dir, "wrong.toml")
	if _, err := Validate(path); err == nil || !strings.HasPrefix(err.Error(), path+":8:12: ") {
		t.Errorf("%v, want the place %s:8:12", err, path)
	}
	if _, err := Validate(filepath.Join(dir, "none.toml")); !os.IsNotExist(err) {
		t.Errorf("a file that is not there: %v", err)
	}
}

func TestNamesChannel(t *testing.T) {
	for name, want := range map[string]bool{"rigol-dp800": true, "rs-hmp": true, "scpi99-supply": false, "gw-gpd": false, "tdk-genesys": false} {
		if got := embeddedDialect(t, Supply, name).NamesChannel(); got != want {
			t.Errorf("%s names the output in each command: %v", name, got)
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
