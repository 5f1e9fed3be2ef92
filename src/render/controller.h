/* One tick of the controller, written by burnwright. C99 and C++, single precision, no allocation, no
 * dependencies. It is the controller that was designed and simulated, operation by operation; hold
 * your build against check-vectors.csv.
 *
 * CAUTION: gains from a model are not a clearance to fly.
 *
 * Once, with the command in force (mostly 0):
 *   struct burnwright_state state;
 *   burnwright_start(&state, 0.0f);
 * Then at every period of the loop, with set point and tilt in degrees, rate in degrees per second,
 * and burnwright_schedule(..) or 1.0f as the factor:
 *   command_deg = burnwright_tick(&state, &burnwright_pitch, set_point, tilt, rate, factor);
 *
 * In this order, with h the period, y the tilt, w its rate, r the set point, s the factor:
 *   turn = w, or (y - y_old) / h
 *   f    = stays f + comes turn
 *   v    = s kp (weight r - y) + I - s kd f + g
 *   u    = v within the limit, and within the largest step of the last u
 *   I    = I + h s ki (r - y) + per_tracking (u - v)
 *   g    = g fade
 * The first tick takes w for f (or 0, and y for y_old), and sets g so that u is the command in force.
 * An input that is no finite number leaves all of it alone: u stays. Options that take every number for
 * finite (-ffast-math) take this away.
 */
#ifndef BURNWRIGHT_CONTROLLER_H
#define BURNWRIGHT_CONTROLLER_H

/* Before a value in a braced list: the field it is of. C++ before C++20 goes by the order alone. */
#if defined(__cplusplus) && __cplusplus < 202002L
#define BURNWRIGHT_FIELD(name)
#else
#define BURNWRIGHT_FIELD(name) .name =
#endif

#if defined(__GNUC__)
#define BURNWRIGHT_MAY_BE_UNUSED __attribute__((unused))
#else
#define BURNWRIGHT_MAY_BE_UNUSED
#endif

struct burnwright_gains {
    float period_s;
    float kp;
    float ki_per_s;
    float kd_s;
    int by_rate;          /* 1: the derivative is the measured rate; 0: the difference of tilts */
    float stays;          /* share of the filtered derivative that stays, and that comes */
    float comes;
    float weight;         /* of the set point */
    float limit_deg;
    float largest_step_deg; /* within one period; negative for none */
    float per_tracking;   /* period over tracking time; 0 without an integral */
    float fade;           /* of the start's offset, for each period; 0 for no glide */
};

struct burnwright_state {
    float tilt_before;
    float turning;
    float integral;
    float glide;
    float command;
    int started;
};

BURNWRIGHT_MAY_BE_UNUSED
static void burnwright_start(struct burnwright_state *state, float command_in_force_deg)
{
    state->tilt_before = 0.0f;
    state->turning = 0.0f;
    state->integral = 0.0f;
    state->glide = 0.0f;
    state->command = command_in_force_deg;
    state->started = 0;
}

static float burnwright_clamp(float value, float low, float high)
{
    if (value > high) {
        return high;
    }
    if (value < low) {
        return low;
    }
    return value;
}

static int burnwright_is_finite(float value)
{
    return value - value == 0.0f;
}

BURNWRIGHT_MAY_BE_UNUSED
static float burnwright_tick(struct burnwright_state *state, const struct burnwright_gains *gains, float set_point_deg,
                      float tilt_deg, float rate_deg_s, float factor)
{
    float proportional;
    float own;
    float wanted;
    float command;

    if (!burnwright_is_finite(set_point_deg) || !burnwright_is_finite(tilt_deg) || !burnwright_is_finite(factor)
        || (gains->by_rate && !burnwright_is_finite(rate_deg_s))) {
        return state->command;
    }
    if (!state->started) {
        state->turning = gains->by_rate ? rate_deg_s : 0.0f;
    } else if (gains->by_rate) {
        state->turning = gains->stays * state->turning + gains->comes * rate_deg_s;
    } else {
        float difference = (tilt_deg - state->tilt_before) / gains->period_s;
        state->turning = gains->stays * state->turning + gains->comes * difference;
    }
    state->tilt_before = tilt_deg;

    proportional = factor * gains->kp * (gains->weight * set_point_deg - tilt_deg);
    own = proportional + state->integral - factor * gains->kd_s * state->turning;
    if (!state->started) {
        state->started = 1;
        if (gains->fade > 0.0f) {
            state->glide = state->command - own;
        }
    }
    wanted = own + state->glide;
    command = burnwright_clamp(wanted, -gains->limit_deg, gains->limit_deg);
    if (gains->largest_step_deg >= 0.0f) {
        command = burnwright_clamp(command, state->command - gains->largest_step_deg,
                            state->command + gains->largest_step_deg);
    }
    state->integral = state->integral
                      + gains->period_s * factor * gains->ki_per_s * (set_point_deg - tilt_deg)
                      + gains->per_tracking * (command - wanted);
    state->glide = state->glide * gains->fade;
    state->command = command;
    return command;
}

/* Factor of the gains at a time since ignition: straight lines between the points. */
BURNWRIGHT_MAY_BE_UNUSED
static float burnwright_schedule(const float *time_s, const float *factor, int points, float now_s)
{
    int at;

    if (points < 1) {
        return 1.0f;
    }
    if (now_s <= time_s[0]) {
        return factor[0];
    }
    for (at = 1; at < points; at++) {
        if (now_s < time_s[at]) {
            float share = (now_s - time_s[at - 1]) / (time_s[at] - time_s[at - 1]);
            return factor[at - 1] + (factor[at] - factor[at - 1]) * share;
        }
    }
    return factor[points - 1];
}

#endif /* BURNWRIGHT_CONTROLLER_H */
