package table

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
)

// TestBadTables holds the line that every bad file prints against the list in
// testdata/csv/bad/expected.txt. Walking the folder finds files that the list
// misses, and the other way round.
func TestBadTables(t *testing.T) {
	const folder = "../../../testdata/csv/bad"
	entries, err := os.ReadDir(folder)
	require.NoError(t, err)
	var got strings.Builder
	for _, e := range entries {
		if e.Name() == "expected.txt" {
			continue
		}
		err := readFile(t, filepath.Join(folder, e.Name()), capture.Options{})
		require.Error(t, err, e.Name())
		assert.NotContains(t, err.Error(), "\n")
		var place *capture.ParseError
		require.ErrorAs(t, err, &place, e.Name())
		place.File = e.Name()
		assert.NotEmpty(t, place.Fix, "%s: what would be right", e.Name())
		got.WriteString(place.Error() + "\n")
	}
	assert.Equal(t, readText(t, filepath.Join(folder, "expected.txt"), got.String()), got.String())
}

// readFile decodes a capture to its end.
func readFile(t *testing.T, path string, o capture.Options) error {
	r, err := openFile(path, o)
	if err != nil {
		return err
	}
	defer r.Close()
	_, _, err = collect(r)
	return err
}

// TestTimeGoesBack holds for rows whose levels repeat, too.
func TestTimeGoesBack(t *testing.T) {
	_, _, err := read(t, "time_us,a\n0,0\n10,1\n20,1\n15,1\n40,0\n", capture.Options{})
	require.EqualError(t, err, `tug.csv:5:1: time goes back to "15"; stamps in order`)
}

// TestCutOff: a capture cut off in its last row is read up to there; damage
// elsewhere, or in a row that has its line end, is an error.
func TestCutOff(t *testing.T) {
	const whole = "time_us,throttle,rudder\n0,0,0\n10,1,0\n20,1,1\n"
	const edges = "throttle: low 0.000000 high 10.000000\nrudder: low 0.000000 high 20.000000\n"
	for _, rest := range []string{"3", "30", "30,", "30,0", "30,0,", "30,0,\"", "3x,0,0"} {
		got, origin, err := read(t, whole+rest, capture.Options{})
		require.NoError(t, err, rest)
		assert.Equal(t, edges, got, rest)
		assert.Equal(t, []decode.Remark{{Kind: decode.CutOff, Text: "cut off: the last row, line 5, is not whole and was left out."}}, origin.Warnings, rest)
		assert.Equal(t, 20*decode.Microsecond, origin.End, rest)

		if _, _, err = read(t, whole+rest+"\n", capture.Options{}); rest != "30,0,\"" { // which may go on in the next line
			assert.Error(t, err, rest)
		}
	}
	got, origin, err := read(t, whole+"30,0,0", capture.Options{})
	require.NoError(t, err)
	assert.Equal(t, "throttle: low 0.000000 high 10.000000 low 30.000000\nrudder: low 0.000000 high 20.000000 low 30.000000\n", got)
	assert.Empty(t, origin.Notes)
}

// TestCutOffInCompression: text that a cut gzip file still gives is read.
func TestCutOffInCompression(t *testing.T) {
	text := "time_us,throttle\n" + strings.Repeat("0,0\n", 1000) + "10,1\n20,0\n"
	packed := gzipped(t, []byte(text))
	r, err := newReader(strings.NewReader(string(packed[:len(packed)-6])), "tug.csv.gz", capture.Options{})
	require.NoError(t, err)
	_, edges, err := collect(r)
	require.NoError(t, err)
	assert.Len(t, edges[0], 3)
	assert.Equal(t, []decode.Remark{{Kind: decode.CutOff, Text: "cut off: the compressed capture ends early, after line 1003."}}, r.Origin().Warnings)
}

func TestSkipBadRows(t *testing.T) {
	const text = "time_us,throttle,rudder\n0,0,0\n10,1,0\n20,1,oops\n30,1\n40,1,1\n50,0,1\n60,0,0\nsome text\n70,1,0\n35,1,1\n80,1,0\n"
	_, _, err := read(t, text, capture.Options{})
	require.EqualError(t, err, `tug.csv:4:6: "oops" is not a level; 0 or 1, low or high, x where unknown, or volts`)

	got, origin, err := read(t, text, capture.Options{SkipBadRows: true})
	require.NoError(t, err)
	assert.Equal(t, ""+
		"throttle: low 0.000000 high 10.000000 unknown 10.000000 high 40.000000 low 50.000000 unknown 60.000000 high 70.000000 unknown 70.000000 high 80.000000\n"+
		"rudder: low 0.000000 unknown 10.000000 high 40.000000 low 60.000000 unknown 60.000000 low 70.000000 unknown 70.000000 low 80.000000\n", got)
	assert.Equal(t, []decode.Remark{{Kind: decode.LeftOut, Text: "4 damaged rows of 11 were left out."}}, origin.Notes)

	mostly := strings.Repeat("5,1\n", 20000) + strings.Repeat("oops,1\n", 20001)
	_, _, err = read(t, "time_us,a\n"+mostly, capture.Options{SkipBadRows: true})
	require.EqualError(t, err, "tug.csv: 20001 of 40001 rows are damaged; a table that is for the most part whole")
}

// TestHostileReaders: the answer does not depend on the pieces a capture comes
// in, and a failing reader is an error with a place.
func TestHostileReaders(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(dialects, "comma.csv"))
	require.NoError(t, err)
	want := tugEdges(t)
	for name, r := range map[string]io.Reader{
		"a byte at a time":     &pieces{text: text, size: 1},
		"seven bytes at once":  &pieces{text: text, size: 7},
		"data with the end":    &pieces{text: text, size: len(text), err: io.EOF},
		"nothing now and then": &pieces{text: text, size: 3, idle: true},
	} {
		s, err := newReader(r, "tug.csv", capture.Options{})
		require.NoError(t, err, name)
		_, edges, err := collect(s)
		require.NoError(t, err, name)
		assert.Equal(t, want, edgeList(edges), name)
	}
	s, err := newReader(&pieces{text: text, size: 50, then: io.ErrClosedPipe}, "tug.csv", capture.Options{})
	require.NoError(t, err)
	_, _, err = collect(s)
	require.EqualError(t, err, "tug.csv:20:1: io: read/write on closed pipe; "+capture.Readable)
}

// pieces is a reader that hands out text in pieces.
type pieces struct {
	text []byte
	size int
	idle bool  // every other read gives nothing
	odd  bool  // this is the other one
	err  error // comes with the last piece
	then error // comes after it; io.EOF if nil
}

func (p *pieces) Read(into []byte) (int, error) {
	if p.odd = !p.odd; p.idle && p.odd {
		return 0, nil
	}
	n := copy(into, p.text[:min(p.size, len(p.text))])
	p.text = p.text[n:]
	if len(p.text) == 0 && p.err != nil {
		return n, p.err
	}
	if n == 0 && p.then != nil {
		return 0, p.then
	}
	if n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

// TestBoundedMemory: what could make memory grow with the file is refused.
func TestBoundedMemory(t *testing.T) {
	long := strings.Repeat("1", 2<<20)
	for name, c := range map[string]struct{ text, want string }{
		"a long line at the start": {long, "tug.csv:1:1: a line of more than 1048576 bytes; is this a table of text?"},
		"a million columns":        {strings.Repeat("0"+strings.Repeat(",0", 999_999)+"\n", 3), "tug.csv:1:1: a line of more than 1048576 bytes; is this a table of text?"},
		"a long line later":        {"time_us,a\n0,0\n1,1\n2," + long, "tug.csv:4:1: a line of more than 1048576 bytes; is this a table of text?"},
		"many columns":             {strings.Repeat("1,", 5000) + "1\n" + strings.Repeat("1,", 5000) + "1\n", "tug.csv:1:8193: more than 4096 columns; is this a table of text?"},
		"a quote over many lines":  {"t,a,b\n0,0,x\n1,1,x\n2,1,\"" + strings.Repeat("\n", 1000), "tug.csv:4:5: a quote is not closed; a closing quote within 100 lines"},
	} {
		_, _, err := read(t, c.text, capture.Options{})
		assert.EqualError(t, err, c.want, name)
	}
}

// TestBomb: a megabyte that unpacks to a gigabyte is read as it comes.
func TestBomb(t *testing.T) {
	zeros := make([]byte, 64<<20)
	_, err := newReader(strings.NewReader(string(gzipped(t, zeros))), "bomb.gz", capture.Options{})
	assert.EqualError(t, err, "bomb.gz:1:1: a control byte 0x00; a table is text")
	blank := make([]byte, 64<<20)
	for i := range blank {
		blank[i] = '\n'
	}
	_, err = newReader(strings.NewReader(string(zstandard(t, blank))), "bomb.zst", capture.Options{})
	assert.ErrorContains(t, err, "bomb.zst:1:1: no rows of times and levels were found")
}
