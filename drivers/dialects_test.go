package drivers

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
)

// speaker is an instrument on TCP whose lines end as the test says; it logs what
// it is sent and answers by a function.
type speaker struct {
	address string
	mu      sync.Mutex
	log     []string
}

func (s *speaker) sent() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.log)
}

func speak(t *testing.T, end byte, answer func(message string) string) *speaker {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := &speaker{address: "tcp:" + listener.Addr().String()}
	var serving sync.WaitGroup
	serve := func(c net.Conn) {
		defer serving.Done()
		defer c.Close()
		lines := bufio.NewReader(c)
		for {
			line, err := lines.ReadString(end)
			if err != nil {
				return
			}
			message := strings.TrimSuffix(line, string(end))
			s.mu.Lock()
			s.log = append(s.log, message)
			reply := answer(message)
			s.mu.Unlock()
			if _, err := io.WriteString(c, reply); err != nil {
				return
			}
		}
	}
	serving.Add(1)
	go func() {
		defer serving.Done()
		for {
			c, err := listener.Accept()
			if err != nil {
				return
			}
			serving.Add(1)
			go serve(c)
		}
	}()
	t.Cleanup(func() {
		listener.Close()
		serving.Wait()
	})
	return s
}

// TestAcknowledgingSupply goes through a whole cycle with a supply that answers
// nothing before it is addressed, acknowledges each setting, ends lines with CR
// and has its own word for *IDN?.
func TestAcknowledgingSupply(t *testing.T) {
	awake, set := false, map[string]string{"PV": "0", "PC": "0", "OVP": "66", "OUT": "0", "FOLD": "0"}
	s := speak(t, '\r', func(m string) string {
		header, argument, _ := strings.Cut(m, " ")
		switch {
		case m == "ADR 06":
			awake = true
		case !awake:
			return ""
		case m == "IDN?":
			return "LAMBDA,GEN20-38\r"
		case m == "OUT?":
			return map[string]string{"1": "ON\r", "0": "OFF\r"}[set["OUT"]]
		case m == "MV?":
			return set["PV"] + "\r"
		case m == "MC?":
			return "0.0042\r"
		case strings.HasSuffix(m, "?"):
			return set[strings.TrimSuffix(m, "?")] + "\r"
		case header == "PV" && argument == "20.500":
			return "C05\r"
		default:
			set[header] = argument
		}
		return "OK\r"
	})
	p, err := OpenSupply(t.Context(), Options{Address: s.address, Dialect: "tdk-genesys"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	if p.Identity().Model != "LAMBDA,GEN20-38" {
		t.Errorf("identity %+v", p.Identity())
	}
	if err := p.Limit(t.Context(), 3.9, 0.15); err != nil || set["PC"] != "0.150" || set["OVP"] != "4.34" || set["FOLD"] != "1" {
		t.Errorf("limit: %v, %v", err, set)
	}
	if err := p.SetVolts(t.Context(), 20.5); KindOf(err) != "refused" || !strings.Contains(err.Error(), "C05") {
		t.Errorf("a value that the supply refuses: %v", err)
	}
	if err := p.SetVolts(t.Context(), 3.3); err != nil {
		t.Error(err)
	}
	if err := p.On(t.Context()); err != nil || set["OUT"] != "1" {
		t.Error(err)
	}
	if r, err := p.Read(t.Context()); err != nil || r != (SupplyReading{3.3, 0.0042}) {
		t.Errorf("%+v, %v", r, err)
	}
	if err := p.Off(t.Context()); err != nil || set["OUT"] != "0" {
		t.Error(err)
	}
}

// TestNamedOutput: a supply whose commands name the output needs no selecting.
func TestNamedOutput(t *testing.T) {
	s := speak(t, '\n', func(m string) string {
		switch {
		case m == "*IDN?":
			return "RIGOL TECHNOLOGIES,DP832,DP8C163650123,00.01.14\n"
		case m == ":SYSTem:ERRor?":
			return "0,\"No error\"\n"
		case m == ":SOURce2:VOLTage?":
			return "3.300\n"
		}
		return ""
	})
	p, err := OpenSupply(t.Context(), Options{Address: s.address, Channel: 2})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	if err := p.SetVolts(t.Context(), 3.3); err != nil || !slices.Contains(s.sent(), ":SOURce2:VOLTage 3.300") {
		t.Errorf("%v, sent %q", err, s.sent())
	}
}

// TestBatchedScope arms a scope, at first with an attenuation of which it heard a
// wrong digit, fetches a peak-detect record of 300000 points in batches, and
// reads its own measurements.
func TestBatchedScope(t *testing.T) {
	const samples = 600_000
	first, last := 0, 0
	probe, heard := "", false
	s := speak(t, '\n', func(m string) string {
		switch m {
		case "*IDN?":
			return "RIGOL TECHNOLOGIES,DS1104Z,DS1ZA164012345,00.04.04.SP4\n"
		case ":SYSTem:ERRor?":
			return "0,\"No error\"\n"
		case ":CHANnel2:PROBe 10.00":
			if probe = "1.000000e+01"; !heard {
				probe, heard = "5.000000e+01", true
			}
		case ":CHANnel2:PROBe?":
			return probe + "\n"
		case ":TRIGger:STATus?":
			return "WAIT\n"
		case ":ACQuire:TYPE?":
			return "PEAK\n"
		case ":WAVeform:PREamble?":
			return fmt.Sprintf("0,2,%d,1,2.000000e-07,-0.002,0,0.02,0,100\n", samples)
		case ":WAVeform:DATA?":
			block := make([]byte, last-first+1)
			for i := range block {
				block[i] = byte(100 + (first+i)%2*50) // odd samples 150, even ones 100
			}
			return fmt.Sprintf("#9%09d%s\n", len(block), block)
		case ":MEASure:ITEM? FREQuency,CHANnel2":
			return "7.3728e+06\n"
		case ":MEASure:ITEM? VPP,CHANnel2":
			return "9.9E37\n"
		}
		fmt.Sscanf(m, ":WAVeform:STARt %d", &first)
		fmt.Sscanf(m, ":WAVeform:STOP %d", &last)
		return ""
	})
	o, err := OpenScope(t.Context(), Options{Address: s.address})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { o.Close() })
	setup := RecordSetup{
		Channels:     []ChannelSetup{{Number: 2, Attenuation: 10, LowVolts: -2, HighVolts: 3}},
		StartSeconds: -0.002, WindowSeconds: 0.12, Points: 300_000, Peak: true, Trigger: &TriggerSetup{Channel: 2, LevelVolts: 1},
	}
	err = o.Arm(t.Context(), setup)
	if err == nil || !strings.Contains(err.Error(), "attenuation was set to 10 and reads back as 50") || !slices.Contains(s.sent(), ":STOP") {
		t.Fatalf("armed with a wrong attenuation: %v, sent %q", err, s.sent())
	}
	if err := o.Arm(t.Context(), setup); err != nil {
		t.Fatal(err)
	}
	w, err := o.Fetch(t.Context(), 2)
	if err != nil {
		t.Fatal(err)
	}
	if len(w.Min) != samples/2 || w.StepSeconds != 4e-7 || w.StartSeconds != -0.002 || w.Codes != 256 {
		t.Fatalf("%d points, step %g s, start %g s, %d codes", len(w.Min), w.StepSeconds, w.StartSeconds, w.Codes)
	}
	for i := range w.Min {
		if w.Min[i] != 0 || w.Max[i] != 1 {
			t.Fatalf("point %d: from %g to %g V, want 0 to 1 V", i, w.Min[i], w.Max[i])
		}
	}
	if n := strings.Count(strings.Join(s.sent(), "\n"), ":WAVeform:DATA?"); n != 2*3 {
		t.Errorf("fetched in %d batches, want 3, twice", n)
	}
	m, err := o.(Measurer).Measure(t.Context(), 2)
	if err != nil || m.Hertz != 7.3728e6 || !math.IsNaN(m.PeakToPeakVolts) {
		t.Errorf("%+v, %v", m, err)
	}
}
