/* For small boards only, short instead of fast: the five functions of <string.h> that core and generated code use, and
   the division of 64-bit numbers, under the name by which the compiler's own library calls its ten times longer one. */
#include <stdbool.h>
#include <stddef.h>
#include <string.h>

void *memcpy(void *to, const void *from, size_t size)
{
    return memmove(to, from, size);
}

void *memmove(void *to, const void *from, size_t size)
{
    unsigned char *out = to;
    const unsigned char *in = from;
    if (out < in) {
        while (size--) {
            *out++ = *in++;
        }
    } else {
        while (size--) {
            out[size] = in[size];
        }
    }
    return to;
}

void *memset(void *to, int value, size_t size)
{
    unsigned char *out = to;
    while (size--) {
        out[size] = (unsigned char)value;
    }
    return to;
}

int memcmp(const void *a, const void *b, size_t size)
{
    const unsigned char *x = a, *y = b;
    for (size_t i = 0; i < size; i++) {
        if (x[i] != y[i]) {
            return x[i] - y[i];
        }
    }
    return 0;
}

size_t strlen(const char *text)
{
    size_t size = 0;
    while (text[size]) {
        size++;
    }
    return size;
}

unsigned long long __udivmoddi4(unsigned long long value, unsigned long long by, unsigned long long *rest);
unsigned long long __udivmoddi4(unsigned long long value, unsigned long long by, unsigned long long *rest)
{
    unsigned long long left = 0;
    for (unsigned bit = 0; bit < 64; bit++) { /* what is left of it goes out above, the quotient comes in below */
        bool over = left >> 63;
        left = left << 1 | value >> 63;
        value <<= 1;
        if (over || left >= by) {
            left -= by;
            value |= 1u;
        }
    }
    *rest = left;
    return value;
}
