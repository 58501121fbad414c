package main

import (
	"errors"

	"widthwise/decode"
	"widthwise/formats"
)

// parsePositiveDuration reads a length of time.
func parsePositiveDuration(text string) (decode.Time, error) {
	t, err := formats.ParseDuration(text)
	if err == nil && t <= 0 {
		err = errors.New("not above zero; a length of time, such as 22ms")
	}
	return t, err
}

// parsePositiveVolts reads a voltage that is not below zero, in microvolts.
func parsePositiveVolts(text string) (int64, error) {
	v, err := formats.ParseVolts(text)
	if err == nil && v < 0 {
		err = errors.New("below zero; a voltage, such as 0.2V")
	}
	return v, err
}
