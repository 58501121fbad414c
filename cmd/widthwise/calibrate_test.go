package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The header compiles as ISO C without a warning, whatever the channels are
// called, and its constants are integers of the preprocessor.
func TestHeaderCompiles(t *testing.T) {
	dir := t.TempDir()
	text := "scenario = \"hostile */ names ??/ \\\\ \"\nlength = \"24s\"\nsampling = \"4MHz\"\n[frames]\nperiod = \"20ms\"\n"
	for _, name := range []string{"throttle", "2nd motor", "*/ int x; /*", "r\\u00f6hre ??/", "_"} {
		text += "[[channel]]\nname = \"" + name + "\"\nkind = \"servo\"\nwidth_us = 1520\njitter_us = 0.2\n" +
			"moves = [{ at = \"2s\", width_us = 1900 }, { at = \"4s\", width_us = 1520 }, { at = \"6s\", width_us = 1100 }, { at = \"8s\", width_us = 1520 }]\n"
	}
	text += "[[channel]]\nname = \"winch\"\nkind = \"servo\"\nwidth_us = 1520\n"
	scenario := filepath.Join(dir, "names.toml")
	require.NoError(t, os.WriteFile(scenario, []byte(text), 0o666))
	got := try("calibrate", "--header", scenario)
	require.Empty(t, got.err)
	assert.Contains(t, got.out, "#define CH_2ND_MOTOR_NEUTRAL_US 1520\n")
	assert.Contains(t, got.out, "/* WINCH_LOW_US was not found */\n")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "constants.h"), []byte(got.out), 0o666))
	program := "#include \"constants.h\"\n#include \"constants.h\"\n#if THROTTLE_LOW_US >= THROTTLE_NEUTRAL_US || THROTTLE_NEUTRAL_US >= THROTTLE_HIGH_US || THROTTLE_DEADBAND_US < 1 || THROTTLE_LOSS_AFTER_MS != 110\n#error\n#endif\n" +
		"int main(void) { return THROTTLE_END_MARGIN_US + CH_2ND_MOTOR_LOW_US == 0; }\n"
	source := filepath.Join(dir, "main.c")
	require.NoError(t, os.WriteFile(source, []byte(program), 0o666))
	for _, standard := range []string{"-std=c89", "-std=c17"} {
		out, err := exec.Command("gcc", "-Wall", "-Wextra", "-pedantic", "-Werror", standard, "-fsyntax-only", source).CombinedOutput()
		assert.NoError(t, err, "%s", out)
	}
}
