"""What boards measured, and what follows from it: bench records, journals of last dives, the least-squares debrief.

`bench_record`  what a bench test found, as a file: read, written, and put into a dive (`bench: FILE`)
`differences`   where a bench record and the dive file that names it disagree
`bench_trial`   how each output is to be tried, and what its readings say
`played`        a dive played on the bench against the Plan
`connection`    is something wired to an output? from readings of the pack voltage, against three standard errors
`journal`       what a board tells of its last dive; `journal_file` keeps it
`happened`      planned against happened: events, edges, tries
`course`        the pack voltage that a dive's model expects at the moments of readings, for many inputs at once
`fit`           one common load factor, or the capacity, by least squares, with its uncertainty
`left`          the charge that a dive left in its pack, for the next one
`suggest`       what to paste into the dive file

Pure, but for reading the two kinds of file (through `schedgen.files`).
"""
