/* Many lumped benches at once, LANES of them side by side; arrays are [number][lane].
   FLOWS is the plant's own equations (equations.py), the rest its step by Heun's rule and its beads.
   With QUICK in single precision: quotients as products, and roots as the compiler likes them. */
#include <math.h>

#ifdef QUICK
typedef float real;
#define ROOT sqrtf
#define SIZE fabsf
#define OVER(flow, heat) ((flow) * (heat)) /* the heat capacities come as 1 / C */
#else
typedef double real;
#define ROOT sqrt
#define SIZE fabs
#define OVER(flow, heat) ((flow) / (heat))
#endif
#define ZERO_C_K ((real)273.15)
enum { LUMPS = 5, FLOWS_OUT = 7, COUPLINGS = 14, BLOWN_IN = 6, FAN_IN = 3, BEAD = 6 };
enum { EMITTER, CENTRE, EDGE, AROUND, CHIP };
/* of a bead: */
enum { KEEPS, FOLLOWS, CONTACT, FREE, STRAY, SIGMA };

#define COUPLING(n) couplings[(n) * LANES]
#define BLOWN(n) blown[n]

static inline __attribute__((always_inline)) void flows_w(
    const real *couplings, real emitter, real centre, real edge, real around, real chip,
    const real *blown, real *flow)
{
@FLOWS@
}

static inline __attribute__((always_inline)) void step(
    real (*state)[LANES], const real *couplings, const real (*heat)[LANES], const real (*fans)[LANES],
    const real *power_w, real fan, real tick_s)
{
    const real half = tick_s / 2;
    for (int i = 0; i < LANES; i++) {
        const real *own = couplings + i;
        real blown[BLOWN_IN] = {fan * fans[0][i], fan * fans[1][i], fan * fans[2][i], 0, 0, 0};
        real e = state[EMITTER][i], c = state[CENTRE][i], d = state[EDGE][i];
        real a = state[AROUND][i], k = state[CHIP][i], p = power_w[i];
        real first[FLOWS_OUT], second[FLOWS_OUT];
        flows_w(own, e, c, d, a, k, blown, first);
        flows_w(own, e + OVER((first[0] + p) * tick_s, heat[EMITTER][i]),
                c + OVER(first[1] * tick_s, heat[CENTRE][i]),
                d + OVER(first[2] * tick_s, heat[EDGE][i]),
                a + OVER(first[3] * tick_s, heat[AROUND][i]),
                k + OVER(first[4] * tick_s, heat[CHIP][i]), blown, second);
        state[EMITTER][i] = e + OVER((first[0] + second[0] + 2 * p) * half, heat[EMITTER][i]);
        state[CENTRE][i] = c + OVER((first[1] + second[1]) * half, heat[CENTRE][i]);
        state[EDGE][i] = d + OVER((first[2] + second[2]) * half, heat[EDGE][i]);
        state[AROUND][i] = a + OVER((first[3] + second[3]) * half, heat[AROUND][i]);
        state[CHIP][i] = k + OVER((first[4] + second[4]) * half, heat[CHIP][i]);
    }
}

static inline __attribute__((always_inline)) void follow(
    real (*state)[LANES], const real (*bead)[LANES], int place, real *before_c, real *bead_c)
{
    for (int i = 0; i < LANES; i++) {
        real e = state[EMITTER][i] * state[EMITTER][i], p = state[place][i] * state[place][i];
        real net = bead[SIGMA][i] * (e * e - p * p);
        real target = bead[CONTACT][i] * (state[place][i] - ZERO_C_K)
            + bead[FREE][i] * (state[AROUND][i] - ZERO_C_K) + bead[STRAY][i] * net;
        bead_c[i] = before_c[i] + (bead_c[i] - before_c[i]) * bead[KEEPS][i]
            + (target - before_c[i]) * bead[FOLLOWS][i];
        before_c[i] = target;
    }
}

/* Moves `blocks` of LANES benches on by `steps`, and writes what the beads show after every
   `every` steps to out[sample][bead][plant].
   power: 0..1 of full power, [step] or, where `own` is set, [step][plant]; fan: 0..1 [step].
   coefficients: [block][COUPLINGS + LUMPS + FAN_IN + 1][lane]; beads: [block][bead][BEAD][lane];
   states: [block][LUMPS][lane]; shown: [block][2 * bead + (0 target before, 1 bead)][lane]. */
void march(long blocks, long steps, long every, real tick_s, const real *power, long own,
           const real *fan, const real *coefficients, long bead_count, const long *places,
           const real *beads, real *states, real *shown, real *out)
{
    const long plants = blocks * LANES;
    for (long block = 0; block < blocks; block++) {
        const real (*held)[LANES] =
            (const real (*)[LANES])(coefficients + block * (COUPLINGS + LUMPS + FAN_IN + 1) * LANES);
        const real (*heat)[LANES] = held + COUPLINGS, (*fans)[LANES] = heat + LUMPS;
        const real *full_w = fans[FAN_IN];
        real state[LUMPS][LANES], power_w[LANES];
        real *kept = states + block * LUMPS * LANES;
        for (int n = 0; n < LUMPS; n++)
            for (int i = 0; i < LANES; i++) state[n][i] = kept[n * LANES + i];
        for (long at = 0; at < steps; at++) {
            const real *row = own ? power + at * plants + block * LANES : 0;
            if (own) for (int i = 0; i < LANES; i++) power_w[i] = row[i] * full_w[i];
            else for (int i = 0; i < LANES; i++) power_w[i] = power[at] * full_w[i];
            step(state, held[0], heat, fans, power_w, fan[at], tick_s);
            for (long b = 0; b < bead_count; b++) {
                real *now = shown + (block * bead_count + b) * 2 * LANES;
                follow(state, (const real (*)[LANES])(beads + (block * bead_count + b) * BEAD * LANES),
                       (int)places[b], now, now + LANES);
            }
            if ((at + 1) % every == 0)
                for (long b = 0; b < bead_count; b++) {
                    const real *now = shown + ((block * bead_count + b) * 2 + 1) * LANES;
                    real *to = out + ((at / every) * bead_count + b) * plants + block * LANES;
                    for (int i = 0; i < LANES; i++) to[i] = now[i];
                }
        }
        for (int n = 0; n < LUMPS; n++)
            for (int i = 0; i < LANES; i++) kept[n * LANES + i] = state[n][i];
    }
}
