package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const repository = "../.."

// shown is a command of a README and the output written below it.
type shown struct {
	line    int
	command string
	output  string
}

// commandsOf finds the ```sh blocks of a page. In a block that has them, lines
// that begin with "$ " are commands and the lines below each are what it
// prints, on either stream.
func commandsOf(page string) []shown {
	var out []shown
	inside, taking := false, false
	for i, line := range strings.Split(page, "\n") {
		command, isCommand := strings.CutPrefix(line, "$ ")
		switch {
		case strings.HasPrefix(line, "```"):
			inside, taking = line == "```sh", false
		case inside && isCommand:
			out = append(out, shown{line: i + 1, command: command})
			taking = true
		case inside && taking:
			out[len(out)-1].output += line + "\n"
		}
	}
	return out
}

// Every command the README shows is run in the repository's root with the
// built command on the path, and prints what the README says. A block may show
// the head of a command's output by piping it into head.
func TestReadme(t *testing.T) {
	page, err := os.ReadFile(filepath.Join(repository, "README.md"))
	require.NoError(t, err)
	commands := commandsOf(string(page))
	require.NotEmpty(t, commands, "README.md shows no command: a ```sh block with a line that begins with \"$ \"")

	bin := t.TempDir()
	build := exec.Command("go", "build", "-o", bin, "./cmd/widthwise")
	build.Dir = repository
	text, err := build.CombinedOutput()
	require.NoError(t, err, string(text))
	now := string(page)
	for _, c := range commands {
		t.Run(fmt.Sprintf("line %d", c.line), func(t *testing.T) {
			run := exec.Command("sh", "-c", c.command)
			run.Dir = repository
			run.Env = append(os.Environ(), "PATH="+bin+string(os.PathListSeparator)+os.Getenv("PATH"))
			got, err := run.CombinedOutput()
			var exit *exec.ExitError
			if err != nil {
				require.True(t, errors.As(err, &exit), "%v", err)
			}
			if *update {
				now = strings.Replace(now, "$ "+c.command+"\n"+c.output, "$ "+c.command+"\n"+string(got), 1)
				return
			}
			assert.Equal(t, c.output, string(got), "$ %s", c.command)
		})
	}
	if *update {
		require.NoError(t, os.WriteFile(filepath.Join(repository, "README.md"), []byte(now), 0o666))
	}
}

func TestCommandsOfAPage(t *testing.T) {
	page := "```sh\n$ widthwise demo\none\n\ntwo\n$ widthwise help\n```\ntext $ x\n$ no\n```\n$ nor this\n```\n```sh\ngo test ./...\n```\n"
	assert.Equal(t, []shown{{2, "widthwise demo", "one\n\ntwo\n"}, {6, "widthwise help", ""}}, commandsOf(page))
}

// The commands that the README shows without their output exist, and so do their
// flags.
func TestReadmeCommandsParse(t *testing.T) {
	page, err := os.ReadFile(filepath.Join(repository, "README.md"))
	require.NoError(t, err)
	_, body, _ := strings.Cut(string(page), "```sh") // prose may begin with the name
	found := regexp.MustCompile("(?m)^widthwise (.+)$|`widthwise ([^`]+)`").FindAllStringSubmatch(body, -1)
	require.Greater(t, len(found), 8)
	for _, m := range found {
		words := strings.Fields(strings.Split(m[1]+m[2], " > ")[0])
		root := (&app{}).root()
		root.InitDefaultHelpCmd()
		cmd, rest, err := root.Find(withCommand(root, words))
		require.NoError(t, err, m[0])
		require.NotEqual(t, root, cmd, m[0])
		require.NoError(t, cmd.ParseFlags(rest), m[0])
	}
}

// The examples of the help pages are commands that exist with flags that do.
func TestHelpExamplesParse(t *testing.T) {
	pattern := regexp.MustCompile(`(?m)^\s+widthwise (.+)$`)
	n := 0
	for _, page := range []string{"check", "inspect", "pulses", "convert", "demo", "failsafe", "calibrate", "compare", "limits", "formats", "exit", ""} {
		for _, m := range pattern.FindAllStringSubmatch(try("help", page).out, -1) {
			words := strings.Fields(strings.NewReplacer("'", "", " > pulses.csv", "", " > constants.h", "").Replace(m[1]))
			if strings.Contains(m[1], "[flags]") || words[0] == "COMMAND" {
				continue
			}
			n++
			root := (&app{}).root()
			cmd, rest, err := root.Find(words)
			require.NoError(t, err, m[0])
			require.NotEqual(t, root, cmd, m[0])
			require.NoError(t, cmd.ParseFlags(rest), m[0])
		}
	}
	assert.Greater(t, n, 10)
}

func exitStatus(err error) string {
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return fmt.Sprint(exit.ExitCode())
	}
	return fmt.Sprint(err)
}
