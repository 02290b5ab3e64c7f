package main

import (
	"github.com/urfave/cli/v2"

	"pulk/schema/fault"
)

func (e *env) completionCommand() *cli.Command {
	return verb{
		path: "pulk completion", args: "bash|zsh|fish", minArgs: 1, maxArgs: 1, usage: "print what makes a shell complete commands and flags", storeless: true,
		examples: []string{"source <(pulk completion bash)", "source <(pulk completion zsh)", "pulk completion fish | source"},
		action:   (*call).completion,
	}.command(e)
}

// The program completes by itself when it is asked with --generate-bash-completion;
// the scripts hand it the words typed so far.
const bashCompletion = `_pulk_complete() {
  local current="${COMP_WORDS[COMP_CWORD]}" words=("${COMP_WORDS[@]:0:COMP_CWORD}")
  [[ "$current" == -* ]] && words+=("$current")
  mapfile -t COMPREPLY < <(compgen -W "$("${words[@]}" --generate-bash-completion 2>/dev/null)" -- "$current")
}
complete -o default -F _pulk_complete pulk
`

const zshCompletion = `_pulk_complete() {
  local -a words_so_far options
  words_so_far=("${(@)words[1,CURRENT-1]}")
  [[ "${words[CURRENT]}" == -* ]] && words_so_far+=("${words[CURRENT]}")
  options=("${(@f)$("${words_so_far[@]}" --generate-bash-completion 2>/dev/null)}")
  if (( ${#options} )) && [[ -n "${options[1]}" ]]; then compadd -- "${(@)options%%:*}"; else _files; fi
}
compdef _pulk_complete pulk
`

func (c *call) completion() error {
	switch c.Args().First() {
	case "bash":
		c.env.stdout.Write([]byte(bashCompletion))
	case "zsh":
		c.env.stdout.Write([]byte(zshCompletion))
	case "fish":
		text, err := c.App.ToFishCompletion()
		if err != nil {
			return err
		}
		c.env.stdout.Write([]byte(text))
	default:
		return fault.Misuse("bash, zsh or fish", "there is no completion for %q", c.Args().First())
	}
	return nil
}
