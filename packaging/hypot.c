/* hypot() for the programs of packaging/dist. glibc 2.35 wrote its own anew, and the two differ in the last bit: with
 * this one in the program, the same files come out on older systems as on newer ones. In 80-bit numbers neither the
 * squares nor their sum leave the range, and the result is rounded once more than the exact one. C99, F.9.4.3: an
 * infinity wins over what is not a number. */
#include <math.h>

double hypot(double x, double y)
{
    long double a = x, b = y;

    if (isinf(x) || isinf(y))
        return HUGE_VAL;
    return (double)__builtin_sqrtl(a * a + b * b);
}
