/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Compiled at set-up, to learn whether this compiler has libFuzzer.
 */
#include <stddef.h>
#include <stdint.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	(void)data;
	(void)size;
	return 0;
}
