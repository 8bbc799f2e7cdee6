package verdict_test
import ("testing";"fmt";"math";"math/rand/v2"
 "ringup/runner/crystal"; "ringup/runner/verdict")
func TestZZ(t *testing.T){
 for _,name:=range crystal.Units(){ for _,volts:=range []float64{3.6,3.0,2.6,2.4,2.2,2.0}{
  u,_:=crystal.NewUnit(name)
  s:=crystal.Surroundings{SupplyVolts:volts,RestSeconds:5,AmbientCelsius:25}
  if name=="cracked-capacitor" {s.AmbientCelsius=-10; s.RestSeconds=3600}
  if name=="sleepy-crystal" {s.RestSeconds=3600}
  rng:=rand.New(rand.NewPCG(1,2))
  count:=map[string]int{}; ex:=map[string]string{}
  fails,pf:=0,0
  const N=250
  for range N {
   p:=u.PowerUp(s,rng)
   j:=verdict.Judge(render(&p,volts,rng),verdict.Expect{SetVolts:volts,RailFraction:.5,ClockHertz:7.3728e6,FrequencyWithin:.01,AmplitudeMinVolts:.25*volts,StartWithinSeconds:65e-3,WatchSeconds:80e-3})
   k:=fmt.Sprint(p.Outcome(),"->",j.Verdict)
   count[k]++
   bad:=p.Outcome()!=crystal.Starts
   if bad {pf++}; if j.Verdict.Failed(){fails++}
   if bad!=j.Verdict.Failed() { ex[k]=fmt.Sprintf("clock %.4g drop %.4g: %s", p.ClockSeconds(), p.DropoutSeconds(), j.Reason)}
  }
  fmt.Println(name,volts,"physics",pf,"verdict",fails,count)
  for k,e:=range ex {fmt.Println("     ",k,e)}
 }}
}
func render(p *crystal.PowerUp, volts float64, rng *rand.Rand) verdict.Evidence{
 trig:=0.0
 for p.TerminalVolts(trig)<volts/2 && trig<.01 {trig+=1e-6}
 step:=1.08*80e-3/2000; start:=-.08*80e-3
 mk:=func(lo,hi float64) verdict.Trace{return verdict.Trace{StartSeconds:start,StepSeconds:step,LowVolts:lo,HighVolts:hi,Codes:256}}
 e:=verdict.Evidence{Rail:mk(-.25*volts,1.25*volts),Clock:mk(-.35*volts,1.35*volts),SupplyVolts:volts,SupplyAmps:math.NaN()}
 q:=func(t verdict.Trace,v float64)float64{c:=(t.HighVolts-t.LowVolts)/255; return t.LowVolts+c*math.Min(255,math.Max(0,math.Round((v-t.LowVolts)/c)))}
 ns:=func(t verdict.Trace)float64{return .46*(t.HighVolts-t.LowVolts)/255*(3.6+.3*rng.NormFloat64())}
 tv:=func(t float64)float64{if t<0{return 0}; return p.TerminalVolts(t)}
 bias:=func(t float64)float64{if t<0{return 0}; return p.NodeBias("B",t)}
 for i:=range 2000 { a:=start+float64(i)*step+trig; b:=a+step
  e.Rail.Min=append(e.Rail.Min,q(e.Rail,math.Min(tv(a),tv(b))-ns(e.Rail))); e.Rail.Max=append(e.Rail.Max,q(e.Rail,math.Max(tv(a),tv(b))+ns(e.Rail)))
  A,B:=p.NodeAmplitude("B",a),p.NodeAmplitude("B",b)
  e.Clock.Min=append(e.Clock.Min,q(e.Clock,math.Min(bias(a)-A,bias(b)-B)-ns(e.Clock)))
  e.Clock.Max=append(e.Clock.Max,q(e.Clock,math.Max(bias(a)+A,bias(b)+B)+ns(e.Clock)))
 }
 st:=verdict.Trace{StepSeconds:1/(13*7.3728e6),LowVolts:-.35*volts,HighVolts:1.35*volts,Codes:256}
 for k:=range 4096 { t:=.0822+float64(k)*st.StepSeconds
  st.Max=append(st.Max,q(st,bias(t)+p.NodeAmplitude("B",t)*math.Cos(2*math.Pi*p.Hertz()*t)+.46*(st.HighVolts-st.LowVolts)/255*rng.NormFloat64()))}
 st.Min=st.Max; e.Steady=st
 return e
}
