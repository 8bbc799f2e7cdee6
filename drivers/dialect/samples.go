package dialect

import (
	"context"
	"encoding/binary"
	"fmt"
	"maps"
	"math"

	"ringup/drivers/scpi"
)

// sampleForm is how a record's codes are stored in a block: u or s for unsigned
// or signed, the number of bits, and for 16 bits the order of the bytes.
type sampleForm string

// sampleForms are the forms there are: bytes for each code, and the codes that
// they can hold.
var sampleForms = map[sampleForm]struct{ bytes, lowest, highest int }{
	"u8":    {1, 0, math.MaxUint8},
	"s8":    {1, math.MinInt8, math.MaxInt8},
	"u16be": {2, 0, math.MaxUint16},
	"u16le": {2, 0, math.MaxUint16},
	"s16be": {2, math.MinInt16, math.MaxInt16},
	"s16le": {2, math.MinInt16, math.MaxInt16},
}

// codes reads a block.
func (f sampleForm) codes(block []byte) []int32 {
	codes := make([]int32, len(block)/sampleForms[f].bytes)
	for i := range codes {
		switch f {
		case "u8":
			codes[i] = int32(block[i])
		case "s8":
			codes[i] = int32(int8(block[i]))
		case "u16be":
			codes[i] = int32(binary.BigEndian.Uint16(block[2*i:]))
		case "u16le":
			codes[i] = int32(binary.LittleEndian.Uint16(block[2*i:]))
		case "s16be":
			codes[i] = int32(int16(binary.BigEndian.Uint16(block[2*i:])))
		case "s16le":
			codes[i] = int32(int16(binary.LittleEndian.Uint16(block[2*i:])))
		}
	}
	return codes
}

// fetch reads a record's samples, in as many pieces as the instrument needs. A
// piece of another length than was asked for leaves the conversation torn.
func (d *Dialect) fetch(ctx context.Context, t Talker, name string, op operation, s Settings) (Reply, error) {
	samples := int(s["samples"])
	if samples < 1 {
		return Reply{}, fmt.Errorf("dialect %s, operation %s: %g samples are asked for; at least 1 is needed", d.Name, name, s["samples"])
	}
	chunk := samples
	if op.chunk > 0 {
		chunk = min(chunk, op.chunk)
	}
	form := sampleForms[op.sample]
	reply := Reply{LowestCode: form.lowest, HighestCode: form.highest}
	for first := 1; first <= samples; first += chunk {
		last := min(first+chunk-1, samples)
		settings := maps.Clone(s)
		settings["first_sample"], settings["last_sample"], settings["chunk_samples"] = float64(first), float64(last), float64(last-first+1)
		r, err := d.steps(ctx, t, name, op, settings)
		if err != nil {
			return Reply{}, err
		}
		if want := (last - first + 1) * form.bytes; len(r.Block) != want {
			err := fmt.Errorf("%w: %d bytes of data came, the preamble says %d", scpi.ErrGarbled, len(r.Block), want)
			t.Tear(err)
			return Reply{}, err
		}
		reply.Block = r.Block
		reply.Samples = append(reply.Samples, op.sample.codes(r.Block)...)
	}
	return reply, nil
}
