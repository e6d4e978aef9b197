/* start.c: from the reset to main(), in place of the C library's start-up files: a table of vectors that ends with the last
   interrupt in use, and the zero register. Clearing memory comes from the compiler's library, in between. Both families
   begin with the stack pointer at the end of memory and all flags cleared. */
#include "hardware.h"

/* An interrupt that nobody handles begins anew, as with the library's table; none is ever switched on. */
__attribute__((naked, used, section(".vectors"))) void start_vectors(void);
void start_vectors(void)
{
    __asm__ volatile("jmp start_begin\n\t"
                     ".altmacro\n\t"
                     ".macro start_vector number\n\t"
                     ".weak __vector_\\number\n\t"
                     "jmp __vector_\\number\n\t"
                     ".endm\n\t"
                     ".set start_number, 1\n\t"
                     ".rept %0\n\t"
                     "start_vector %%start_number\n\t"
                     ".set start_number, start_number + 1\n\t"
                     ".endr\n\t"
                     ".noaltmacro" ::"i"(PART_LAST_VECTOR));
}

__attribute__((naked, used, section(".init2"))) void start_begin(void);
void start_begin(void)
{
    __asm__ volatile("clr __zero_reg__");
}
