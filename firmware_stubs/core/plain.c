/* For small boards only: the five functions of <string.h> that core and generated code use, short instead of fast. */
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
