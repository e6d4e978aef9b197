/* journal.h: where the dive is, in a ring of entries in the EEPROM, and the two bytes after it that say how much earlier
   than planned the first firing command came.

   An entry is 40 bits and a CRC-8 that starts from the dive code, so that the journal of another dive counts for
   nothing: sequence 3, stage 2, elapsed 19, wet latched 1, reduced 1, clock fault 1, tries 4, resets within the hour 4,
   and 5 bits that are the chosen combination of field changes in entries of even sequence, in odd ones the lowest voltage
   of a cell. Elapsed counts in steps of 2 s for the first 2^19 s (6 days), of 62 s from there on. Tries are those of the
   first release up to 8; above, those of the backup + 8.

   Wear, on every part: 72 h at an entry a minute are 4320 entries, 864 on each of the five places; 100 such dives write
   a cell 86 400 times, of the 100 000 that the data sheets promise. */
#ifndef JOURNAL_H
#define JOURNAL_H

#include "state.h"

/* Reads the newest entry of the dive with this code into state. False where there is none. */
bool journal_read(uint32_t code);

/* Writes an entry. ahead: elapsed is rounded up, so that what begins now counts as begun after a reset. */
void journal_put(bool ahead);

/* Writes what a newly armed board says (idle: not armed yet), in both kinds of entry. */
void journal_put_all(void);

/* Whether an entry is due in this elapsed second. */
bool journal_due(void);

/* Seconds by which the first firing command came earlier than planned, in whole minutes; 0 where it did not. */
second_t journal_early(void);
void journal_put_early(second_t seconds);
void journal_clear_early(void);

#endif
