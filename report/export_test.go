package report

import (
	"widthwise/decode"
	"widthwise/formats"
)

// Tug and its like are for the tests of packages that set reports.
func Tug() (*formats.Header, *decode.Analysis, *decode.Judgement) { return tug() }

// TugCapture is what is told of the tug.
func TugCapture() *Capture { return tugCapture() }

// Golden compares with a committed file.
var Golden = golden
