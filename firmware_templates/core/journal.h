/* journal.h: where the dive is, in a ring of entries in the EEPROM, and the two bytes after it that say how much earlier
   than planned the first firing command came.

   An entry is five bytes, from the most significant bit on, and a CRC-8 (polynomial 0x07) over the four bytes of the dive
   code, the low one first, and these five, so that the journal of another dive counts for nothing: sequence 3, stage 2,
   time 19, wet latched 1, reduced 1, clock fault 1, tries 4, resets within the hour 4, and 5 bits that are the chosen
   combination of field changes in entries of even sequence, in odd ones the lowest voltage of a cell in steps of 80 mV
   above 2 V (31: not known). Time is elapsed in steps of 2 s up to 524 280 s (6 days), of 30 s from there on. Tries are those
   of the first release up to 8; above, those of the backup + 8.

   An entry counts where it follows the one before it in the ring, in sequence and by no more time than may lie between
   them, so that a damaged one that its CRC-8 misses (one in 256) is not believed. One that begins anew, at 0 s, may
   follow any.

   The two bytes behind the ring, the low one first, hold whole minutes, 12 bits, and above them the 4 bits with which the
   CRC-8 over both, going on from 0x5A, is less than 16.

   Wear, on every part: 72 h at an entry a minute are 4320 entries, 864 on each of the five places; 100 such dives write
   a cell 86 400 times, of the 100 000 that the data sheets promise. */
#ifndef JOURNAL_H
#define JOURNAL_H

#include "state.h"

/* Reads the newest entry of the dive with the code that counts into state. False where there is none. */
bool journal_read(void);

/* Writes an entry. ahead: elapsed is rounded up, so that what begins now counts as begun after a reset. */
void journal_put(bool ahead);

/* Writes what a newly armed board says (idle: not armed yet), in both kinds of entry. */
void journal_put_all(void);

/* Whether an entry is due in this elapsed second: in whole minutes, in a storm of resets every 10 s. */
bool journal_due(void);

/* Seconds by which the first firing command came earlier than planned, in whole minutes; 0 where it did not. */
second_t journal_early(void);
void journal_put_early(second_t seconds);

#endif
