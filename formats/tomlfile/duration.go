package tomlfile

import (
	"widthwise/decode"

	"widthwise/formats/internal/exact"
)

// Duration is a time in picoseconds that is written with its unit: "22ms".
type Duration decode.Time

// UnmarshalText reads a duration such as "22ms", "0.5s" or "-1.25us".
func (d *Duration) UnmarshalText(text []byte) error {
	t, err := exact.ParseDuration(string(text))
	*d = Duration(t)
	return err
}
