package exact

import (
	"encoding/binary"
	"math/bits"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// Eight digits make their number, and any other byte among them is found, the
// first of them by its place.
func TestWords(t *testing.T) {
	word := func(text []byte) uint64 { return binary.LittleEndian.Uint64(text) ^ Zeros }
	for _, text := range []string{"00000000", "12345678", "90817263", "99999999"} {
		want, err := strconv.ParseUint(text, 10, 64)
		require.NoError(t, err)
		require.Equal(t, want, EightDigits(word([]byte(text))))
		require.Zero(t, OtherThanDigits(word([]byte(text))))
		for place := range text {
			for b := range 256 {
				other := []byte(text)
				if other[place] = byte(b); b >= '0' && b <= '9' {
					continue
				}
				require.Equal(t, place, bits.TrailingZeros64(OtherThanDigits(word(other)))/8, "%q", other)
			}
		}
	}
}
