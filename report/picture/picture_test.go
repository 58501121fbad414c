package picture

import (
	"bytes"
	"context"
	"encoding/xml"
	"image"
	"image/color"
	"image/png"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/decode/diagnose"
	"widthwise/formats"
	"widthwise/report"
)

// stillOf draws a scenario, its channels under other names if any are given.
func stillOf(t *testing.T, scenario, format string, names ...string) []byte {
	t.Helper()
	reader, err := formats.Open("../../testdata/scenarios/"+scenario+".toml", formats.Options{})
	require.NoError(t, err)
	recording, err := decode.Decode(context.Background(), reader, decode.Settings{})
	require.NoError(t, err)
	a := recording.Analyse()
	for i, name := range names {
		a.Channels[i].Name = name
	}
	j := a.Judge(decode.PerChannel[decode.Limits]{Default: decode.DefaultLimits})
	told := report.NewCapture(reader.Header(), a, j, diagnose.Explain(a, j), nil)
	var still Still
	still.Add(told, a, j)
	var b bytes.Buffer
	require.NoError(t, still.Write(&b, format))
	return b.Bytes()
}

// The same capture gives the same bytes.
func TestStillsAreStable(t *testing.T) {
	for _, format := range []string{"svg", "png"} {
		assert.True(t, bytes.Equal(stillOf(t, "supply-dip", format), stillOf(t, "supply-dip", format)), format)
	}
}

func TestStillRefusesOtherFormats(t *testing.T) {
	var still Still
	assert.EqualError(t, still.Write(io.Discard, "gif"), "gif: no format of a still; svg or png")
}

// paint counts the pixels of a colour in a column of the picture.
func paint(img image.Image, x int, of color.NRGBA) (n int) {
	for y := range img.Bounds().Dy() {
		if c := color.NRGBAModel.Convert(img.At(x, y)).(color.NRGBA); c == of {
			n++
		}
	}
	return n
}

// A still is wide enough to read, has the trace in ink from one end to the
// other, and colour where something was found and nowhere else.
func TestStillShowsWhatWasFound(t *testing.T) {
	decoded := func(scenario string) image.Image {
		img, err := png.Decode(bytes.NewReader(stillOf(t, scenario, "png")))
		require.NoError(t, err)
		require.GreaterOrEqual(t, img.Bounds().Dx(), 1200)
		return img
	}
	columnsOf := func(img image.Image, of color.NRGBA) (n int) {
		for x := range img.Bounds().Dx() {
			if paint(img, x, of) > 0 {
				n++
			}
		}
		return n
	}
	dip := decoded("supply-dip")
	assert.Greater(t, columnsOf(dip, ink), dip.Bounds().Dx()*9/10)
	assert.Positive(t, columnsOf(dip, severities["fail"]))
	healthy := decoded("healthy")
	for severity, colour := range severities {
		assert.Zero(t, columnsOf(healthy, colour), severity)
	}
}

// Names stay text in a picture that is text itself.
func TestStillKeepsNamesText(t *testing.T) {
	name := `</text><script>&"'` + "\x1b\u202e"
	svg := stillOf(t, "healthy", "svg", name)
	d := xml.NewDecoder(bytes.NewReader(svg))
	var all strings.Builder
	for {
		token, err := d.Token()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		switch token := token.(type) {
		case xml.StartElement:
			assert.NotEqual(t, "script", token.Name.Local)
		case xml.CharData:
			all.Write(token)
		}
	}
	assert.Contains(t, all.String(), `</text><script>&"'\x1b\u202e`)
	assert.NotContains(t, string(svg), "\u202e")
}

// A name in letters that the font of a painted still lacks is there as escapes,
// and stays as it is where the reader's own fonts write it.
func TestStillWritesEveryName(t *testing.T) {
	assert.Equal(t, stillOf(t, "healthy", "png", `\u8235`), stillOf(t, "healthy", "png", "\u8235"))
	assert.NotEqual(t, stillOf(t, "healthy", "png", "Ruder"), stillOf(t, "healthy", "png", "Rüder"))
	assert.Contains(t, string(stillOf(t, "healthy", "svg", "\u8235")), "\u8235")
}

// A capture that could not be read has its place, and one that could not be
// judged its reason.
func TestStillTellsWhatIsMissing(t *testing.T) {
	var still Still
	still.AddUnread(report.Unreadable("torn.csv", "3:1: no time"))
	silent := report.Unreadable("silent.csv", "")
	silent.Verdict, silent.Channels = report.Word(decode.Undecided), []*report.Channel{{Name: "winch"}}
	still.AddUnread(silent)
	var b bytes.Buffer
	require.NoError(t, still.Write(&b, "svg"))
	assert.Contains(t, b.String(), ">not read   torn.csv<")
	assert.Contains(t, b.String(), ">3:1: no time<")
	assert.Contains(t, b.String(), ">undecided   silent.csv   0 of 1 channel judged, 0.0 s seen<")
	assert.Contains(t, b.String(), ">Nothing was judged: no channel carries servo or pulse-position pulses.<")
}
