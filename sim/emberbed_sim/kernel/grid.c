/* One bench with a gridded board (plant/grid_equations.py says what each line means), Heun's rule.
   All work is in loops over neighbours in memory, so that the compiler makes them wide. */
#include <math.h>
#include <string.h>

#ifdef QUICK
typedef float real;
#define ROOT sqrtf
#define SIZE fabsf
#else
typedef double real;
#define ROOT sqrt
#define SIZE fabs
#endif
enum { MOST = 4096, INTEGRALS = 3 };

typedef struct {
    long parts, columns, cells, sources; /* emitters and filaments */
    real film_at_zero, film_per_k, exchange_w_k, room_k, room_loss_w_k[2];
    const real *heat_inverse, *natural_mean, *natural_lean, *direct_w_k4; /* nodes; faces */
    const real *along_w_k, *across_w_k, *through_w_k;
    const real *contact_w_k, *part_contact_w_k, *cell_contact_w_k; /* [part][cell]; sums */
    const real *gather, *spread, *spread_back; /* [2 sources][bottom .. housing]; [source][cell] */
} Bench;

static void air_loss(const Bench *b, const real *state, const real *fourth, const real *linear,
                     long from, long to, long air, real *loss)
{
    const real air_k = state[air], air4 = fourth[air];
    const real film = b->film_per_k * air_k + b->film_at_zero, half = b->film_per_k / 2;
    for (long i = from; i < to; i++) {
        const real over = state[i] - air_k, size = SIZE(over);
        const real natural = b->natural_mean[i] * over + size * b->natural_lean[i];
        loss[i] = natural * ROOT(ROOT(size)) * (half * over + film) + linear[i] * over
            + b->direct_w_k4[i] * (fourth[i] - air4);
    }
}

static void conduct(const real *state, real *rate, long from, long to, long step, const real *w_k)
{
    for (long i = from; i < to - step; i++) rate[i] += w_k[i - from] * (state[i + step] - state[i]);
    for (long i = from; i < to - step; i++)
        rate[i + step] -= w_k[i - from] * (state[i + step] - state[i]);
}

static real dot(const real *a, const real *b, long count)
{
    real sum = 0;
    for (long i = 0; i < count; i++) sum += a[i] * b[i];
    return sum;
}

static void rates(const Bench *b, const real *state, const real *linear, const real *source_w,
                  real *rate)
{
    const long top = b->parts, bottom = top + b->cells, source = bottom + b->cells;
    const long housing = source + b->sources, above = housing + 1, nodes = housing + 2;
    real fourth[MOST], loss[MOST];
    for (long i = 0; i < nodes; i++) {
        const real square = state[i] * state[i];
        fourth[i] = square * square;
    }
    air_loss(b, state, fourth, linear, 0, bottom, above, loss);
    air_loss(b, state, fourth, linear, bottom, housing, housing, loss);
    for (long i = 0; i < housing; i++) rate[i] = -loss[i];
    conduct(state, rate, top, source, 1, b->along_w_k);
    conduct(state, rate, top, source, b->columns, b->across_w_k);
    conduct(state, rate, top, source, b->cells, b->through_w_k);
    for (long p = 0; p < b->parts; p++) {
        const real *w_k = b->contact_w_k + p * b->cells, part = state[p];
        rate[p] += dot(w_k, state + top, b->cells) - b->part_contact_w_k[p] * part;
        for (long i = 0; i < b->cells; i++) rate[top + i] += w_k[i] * part;
    }
    if (b->parts)
        for (long i = 0; i < b->cells; i++) rate[top + i] -= b->cell_contact_w_k[i] * state[top + i];
    const long column = b->cells + b->sources + 1;
    for (long s = 0; s < b->sources; s++) {
        const real sent = dot(b->gather + (b->sources + s) * column, fourth + bottom, column);
        const real *to = b->spread + s * b->cells;
        for (long i = 0; i < b->cells; i++) rate[bottom + i] += to[i] * sent;
    }
    for (long i = 0; i < b->cells; i++) rate[bottom + i] -= b->spread_back[i] * fourth[bottom + i];
    for (long s = 0; s < b->sources; s++)
        rate[source + s] += dot(b->gather + s * column, fourth + bottom, column);
    real lost_above = 0, kept = 0, electric = 0;
    for (long i = 0; i < bottom; i++) lost_above += loss[i];
    for (long i = 0; i < housing; i++) kept += rate[i];
    const real between = b->exchange_w_k * (state[housing] - state[above]);
    const real low = b->room_loss_w_k[0] * (state[housing] - b->room_k);
    const real high = b->room_loss_w_k[1] * (state[above] - b->room_k);
    for (long s = 0; s < b->sources; s++) {
        rate[source + s] += source_w[s];
        electric += source_w[s];
    }
    rate[housing] = -kept - lost_above - low - between;
    rate[above] = lost_above - high + between;
    for (long i = 0; i < nodes; i++) rate[i] *= b->heat_inverse[i];
    rate[nodes] = electric;
    rate[nodes + 1] = 0; /* no hot air */
    rate[nodes + 2] = low + high;
}

/* Moves `state` on by `steps`; source_w: [step][source], fan: [step]; after every `every` steps the
   state goes to out[sample]. Returns 0, or 1 for a board with too many cells. */
long grid_march(const Bench *b, long steps, long every, real tick_s, const real *source_w,
                const real *fan, const real *steady_w_k, const real *fan_w_k, real *state, real *out)
{
    const long faces = b->parts + 2 * b->cells + b->sources, size = faces + 2 + INTEGRALS;
    if (size > MOST) return 1;
    real first[MOST], second[MOST], ahead[MOST], linear[MOST];
    for (long at = 0; at < steps; at++) {
        for (long i = 0; i < faces; i++) linear[i] = steady_w_k[i] + fan[at] * fan_w_k[i];
        const real *w = source_w + at * b->sources;
        rates(b, state, linear, w, first);
        for (long i = 0; i < size; i++) ahead[i] = state[i] + first[i] * tick_s;
        rates(b, ahead, linear, w, second);
        for (long i = 0; i < size; i++) state[i] += (first[i] + second[i]) * (tick_s / 2);
        if ((at + 1) % every == 0) memcpy(out + (at / every) * size, state, size * sizeof(real));
    }
    return 0;
}
