/* The equations at the head of plant.h in fixed steps, in double precision, against the rows of steps.csv.
 * Prints the number of rows and the largest difference in degrees and degrees per second.
 * Every instant at which something jumps (commands, their arrivals, corners of the thrust) falls on a step. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "plant.h"

#define DEG 0.017453292519943295
#define STEP (1.0 / 8192.0)
#define PERIOD 64  /* steps between two commands */

struct axis {
    const char *name;
    double gain, bias, lag, ratio, delay, width, slew, travel;    /* ratio 0: of first order */
    int kind;
    double effectiveness, thrust_bias, damping, stiffness, friction;
};

static const struct axis AXES[4] = {
    {"backlash", PLANT_BACKLASH_GAIN, PLANT_BACKLASH_BIAS_DEG, PLANT_BACKLASH_LAG_S, 0.0, PLANT_BACKLASH_DELAY_S,
     PLANT_BACKLASH_DEAD_BAND_WIDTH_DEG, 1e9, PLANT_BACKLASH_TRAVEL_DEG, PLANT_BACKLASH_DEAD_BAND_KIND,
     PLANT_BACKLASH_RIG_EFFECTIVENESS_PER_KG_M, PLANT_BACKLASH_RIG_THRUST_BIAS_PER_KG_M,
     PLANT_BACKLASH_RIG_DAMPING_PER_S, PLANT_BACKLASH_RIG_STIFFNESS_PER_S2, 0.0},
    {"zone", PLANT_ZONE_GAIN, PLANT_ZONE_BIAS_DEG, PLANT_ZONE_LAG_S, 0.0, PLANT_ZONE_DELAY_S,
     PLANT_ZONE_DEAD_BAND_WIDTH_DEG, PLANT_ZONE_SLEW_DEG_S, PLANT_ZONE_TRAVEL_DEG, PLANT_ZONE_DEAD_BAND_KIND,
     PLANT_ZONE_RIG_EFFECTIVENESS_PER_KG_M, PLANT_ZONE_RIG_THRUST_BIAS_PER_KG_M,
     PLANT_ZONE_RIG_DAMPING_PER_S, PLANT_ZONE_RIG_STIFFNESS_PER_S2, PLANT_ZONE_RIG_COULOMB_RAD_PER_S2},
    {"plain", PLANT_PLAIN_GAIN, PLANT_PLAIN_BIAS_DEG, PLANT_PLAIN_LAG_S, 0.0, PLANT_PLAIN_DELAY_S,
     0.0, 1e9, 1e9, PLANT_PLAIN_DEAD_BAND_KIND,
     PLANT_PLAIN_RIG_EFFECTIVENESS_PER_KG_M, PLANT_PLAIN_RIG_THRUST_BIAS_PER_KG_M,
     PLANT_PLAIN_RIG_DAMPING_PER_S, PLANT_PLAIN_RIG_STIFFNESS_PER_S2, PLANT_PLAIN_RIG_COULOMB_RAD_PER_S2},
    {"swinging", PLANT_SWINGING_GAIN, PLANT_SWINGING_BIAS_DEG, PLANT_SWINGING_LAG_S, PLANT_SWINGING_DAMPING_RATIO,
     PLANT_SWINGING_DELAY_S, 0.0, 1e9, 1e9, PLANT_SWINGING_DEAD_BAND_KIND,
     PLANT_SWINGING_RIG_EFFECTIVENESS_PER_KG_M, PLANT_SWINGING_RIG_THRUST_BIAS_PER_KG_M,
     PLANT_SWINGING_RIG_DAMPING_PER_S, PLANT_SWINGING_RIG_STIFFNESS_PER_S2, PLANT_SWINGING_RIG_COULOMB_RAD_PER_S2},
};

static double thrust(double t)
{
    int i;
    for (i = 1; i < PLANT_THRUST_POINTS; i++) {
        double a = plant_thrust_time_s[i - 1], b = plant_thrust_time_s[i];
        if (t >= a && t <= b) {
            double share = (t - a) / (b - a);
            return plant_thrust_n[i - 1] + share * (plant_thrust_n[i] - (double)plant_thrust_n[i - 1]);
        }
    }
    return 0.0;
}

struct nozzle {
    double angle, rate;    /* the rate of one of second order, below a damping ratio of 1 */
};

/* Where the nozzle is h seconds on: straight at its fastest, then with its lag; or swinging to its goal. */
static struct nozzle nozzle(const struct axis *of, struct nozzle from, double to, double h)
{
    double away = from.angle - to, reach = of->slew * of->lag, straight;
    struct nozzle out = {0.0, 0.0};
    if (of->ratio > 0.0) {
        double w = 2 * of->ratio / of->lag, decay = of->ratio * w, swing = w * sqrt(1 - of->ratio * of->ratio);
        double c = exp(-decay * h) * cos(swing * h), s = exp(-decay * h) * sin(swing * h);
        double b = (from.rate + decay * away) / swing;
        out.angle = to + away * c + b * s;
        out.rate = (b * swing - decay * away) * c - (away * swing + decay * b) * s;
    } else if (fabs(away) > reach) {
        straight = (fabs(away) - reach) / of->slew;
        if (h <= straight)
            out.angle = from.angle - copysign(of->slew * h, away);
        else
            out.angle = to + copysign(reach, away) * exp(-(h - straight) / of->lag);
    } else {
        out.angle = to + away * exp(-h / of->lag);
    }
    return out;
}

static double demand(const struct axis *of, double passed)
{
    return fmax(-of->travel, fmin(of->travel, of->gain * (passed + of->bias)));
}

static double pass(const struct axis *of, double before, double command)
{
    double half = of->width / 2;
    if (of->kind == PLANT_DEAD_BAND_PLAY)
        return fmin(fmax(before, command - half), command + half);
    if (of->kind == PLANT_DEAD_BAND_DEAD_ZONE)
        return fabs(command) <= half ? 0.0 : command - copysign(half, command);
    return command;
}

struct motion {
    double a, v;    /* tilt and its rate, rad and rad/s */
};

static struct motion runge_kutta(const struct axis *of, struct motion at, const double pull[3], double h, double friction)
{
    struct motion k[4];
    const double reach[4] = {0.0, 0.5, 0.5, 1.0};
    const int when[4] = {0, 1, 1, 2};
    int i;
    for (i = 0; i < 4; i++) {
        double a = at.a + (i ? h * reach[i] * k[i - 1].a : 0.0), v = at.v + (i ? h * reach[i] * k[i - 1].v : 0.0);
        k[i].a = v;
        k[i].v = pull[when[i]] - of->damping * v + of->stiffness * a - friction;
    }
    at.a += h / 6 * (k[0].a + 2 * k[1].a + 2 * k[2].a + k[3].a);
    at.v += h / 6 * (k[0].v + 2 * k[1].v + 2 * k[2].v + k[3].v);
    return at;
}

/* One step from t on, with the nozzle `into` seconds after it was at `from`; cut where friction stops the axis. */
static struct motion step(const struct axis *of, struct motion at, double t, struct nozzle from, double to, double h)
{
    double done = 0.0;
    for (;;) {
        double left = h - done, pull[3], push, heading = 0.0;
        struct motion next;
        int i;
        for (i = 0; i < 3; i++) {
            double later = done + left * i / 2, d = nozzle(of, from, to, later).angle * DEG;
            pull[i] = thrust(t + later) * (of->effectiveness * sin(d) + of->thrust_bias);
        }
        push = pull[0] - of->damping * at.v + of->stiffness * at.a;
        if (of->friction > 0.0) {
            if (at.v == 0.0 && fabs(push) <= of->friction)
                return at;
            heading = copysign(1.0, at.v != 0.0 ? at.v : push);
        }
        next = runge_kutta(of, at, pull, left, of->friction * heading);
        if (of->friction <= 0.0 || at.v == 0.0 || next.v * heading >= 0.0)
            return next;
        left *= at.v / (at.v - next.v);
        for (i = 0; i < 3; i++) {
            double later = done + left * i / 2, d = nozzle(of, from, to, later).angle * DEG;
            pull[i] = thrust(t + later) * (of->effectiveness * sin(d) + of->thrust_bias);
        }
        at = runge_kutta(of, at, pull, left, of->friction * heading);
        at.v = 0.0;
        done += left;
    }
}

int main(int count, char **files)
{
    static double commands[100000];
    const struct axis *of = NULL;
    struct motion at = {0.0, 0.0};
    struct nozzle d = {0.0, 0.0};
    double passed = 0.0, goal = 0.0, worst = 0.0;
    char line[512], name[64];
    int rows = 0, n = 0, row = 0;
    FILE *file = count > 1 ? fopen(files[1], "r") : NULL;

    if (!file || !fgets(line, sizeof line, file))
        return 1;
    while (fgets(line, sizeof line, file)) {
        double t, command, said[3], got[3];
        int i;
        if (sscanf(line, "%63[^,],%lf,%lf,%lf,%lf,%lf", name, &t, &command, &said[0], &said[1], &said[2]) != 6)
            return 1;
        if (!of || strcmp(of->name, name)) {
            for (i = 0; i < 4; i++)
                if (!strcmp(AXES[i].name, name))
                    of = &AXES[i];
            if (!of)
                return 1;
            at.a = 1.5 * DEG;
            at.v = -2.0 * DEG;
            passed = 0.0;
            n = row = 0;
            d.angle = goal = demand(of, 0.0);
            d.rate = 0.0;
        }
        for (; n < row * PERIOD; n++) {
            int late = n - (int)(of->delay / STEP);
            if (late >= 0 && late % PERIOD == 0) {
                passed = pass(of, passed, commands[late / PERIOD]);
                goal = demand(of, passed);
            }
            at = step(of, at, n * STEP, d, goal, STEP);
            d = nozzle(of, d, goal, STEP);
        }
        commands[row++] = command;
        got[0] = d.angle;
        got[1] = at.a / DEG;
        got[2] = at.v / DEG;
        for (i = 0; i < 3; i++)
            worst = fmax(worst, fabs(got[i] - said[i]));
        rows++;
    }
    printf("%d %.3e\n", rows, worst);
    return 0;
}
