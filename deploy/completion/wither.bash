# SPDX-License-Identifier: GPL-3.0-or-later
# Completion for bash: the program itself knows its verbs, options, gardens and open loads.
_wither()
{
    local IFS=$'\n'
    local -a typed=("${COMP_WORDS[@]:1:COMP_CWORD}")

    mapfile -t COMPREPLY < <("${COMP_WORDS[0]}" complete "${typed[@]}" 2>/dev/null)
    # A garden may be of two words: what stands in the line must then be quoted.
    local i
    for i in "${!COMPREPLY[@]}"; do
        printf -v "COMPREPLY[i]" '%q' "${COMPREPLY[i]}"
    done
    # An option or a verb without candidates of its own may still name a file.
    if [[ ${#COMPREPLY[@]} -eq 0 && ${COMP_WORDS[1]} == backup ]]; then
        compopt -o default
    fi
}
complete -F _wither wither
