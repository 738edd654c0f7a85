/* The kernel's equations for struts as plain C, the ceiling that the benchmark measures the kernel against.
 *
 * Same columns in, same state rows and marks out, same steps to the arm's angle with the same tolerances and
 * safeguard; names as in kinematics/kernel.py, row numbers as in kinematics/rows.py. Lanes are worked on in
 * blocks, states are written straight to where they belong, and every loop over lanes is open to the
 * compiler's vectoriser. LANES is given when compiling.
 */
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <string.h>

enum { CIRCLE_CENTRE = 0, CIRCLE_COS = 3, CIRCLE_SIN = 6, TOP_MOUNT = 9, RACK_END = 12, STRUT_FOOT = 15,
       STRUT_AXIS = 18, ROD_END = 21, WHEEL_CENTRE = 24, LOADED_RADIUS = 27, ROD_LENGTH = 28, BRANCH = 29,
       START = 30, START_SLOPE = 31, RIDE_Z = 32 };
enum { ARM_T = 0, AXIS = 1, SPINDLE = 4, CENTRE = 7, CONTACT = 10, CONTACT_RATE_Y = 13, CONTACT_RATE_Z = 14,
       CENTRE_RATE_Z = 15, TOGGLE_SINE = 16, BALL_JOINT = 17, ROD_OUTER = 20, STRUT_LENGTH = 23, FORWARD = 24 };
enum { REACHED = 0, ROD_OUT_OF_REACH = 1, ARM_OUT_OF_REACH = 2 };

#define LEAST_MU 1e-5
#define OUT_OF_MU 1e-6
#define ARRIVED 1e-9
#define PLACED 1e-7
#define LOST 1e-4
#define LOST_PER_MM 0.02
#define MOST_STEPS 14
#define MOST_HALVINGS 60
#define MOST_TURN 0.2
#define MOST_TURN_RATE 3.0
#define FURTHEST_T 0.7673269879789604

#define each_lane for (int i = 0; i < LANES; i++)
#define piece static inline __attribute__((always_inline))
#define pass static __attribute__((noinline))

typedef double row[LANES];
typedef struct { double x, y, z; } vec;
typedef row rows3[3];
typedef row rows5[5];

/* what the states of a block need of its geometry, and where its lanes stand on their way */
typedef struct {
    rows3 to_centre, cos, sin, top, d_fixed;
    row rack_y, ff, dd, rod, of_a, sign, radius, from, slope, ride;
    rows3 of_p;
    rows5 of_w, of_x, of_y;
    row t, t0, f0, t1, f1, per_mm, miss, lost, going, low, high, below, rack;
} block;

piece vec at(const rows3 a, int i) { return (vec){a[0][i], a[1][i], a[2][i]}; }
piece void put(rows3 a, int i, vec v) { a[0][i] = v.x; a[1][i] = v.y; a[2][i] = v.z; }
piece double dot(vec a, vec b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
piece vec cross(vec a, vec b) {
    return (vec){a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}
piece vec sum(vec a, vec b) { return (vec){a.x + b.x, a.y + b.y, a.z + b.z}; }
piece vec less(vec a, vec b) { return (vec){a.x - b.x, a.y - b.y, a.z - b.z}; }
piece vec times(vec a, double k) { return (vec){a.x * k, a.y * k, a.z * k}; }
piece vec mix(vec a, double j, vec b, double k) {
    return (vec){a.x * j + b.x * k, a.y * j + b.y * k, a.z * j + b.z * k};
}
piece double most(double a, double b) { return a > b ? a : b; }
piece double held_between(double a, double b) { a = a > -b ? a : -b; return a < b ? a : b; }

typedef struct { vec v, dv; double ll, mu; } swing;

piece swing swing_strut(const block *g, int i, double t) {
    swing w;
    double q = 1.0 / (1.0 + t * t), ca = (1.0 - t * t) * q, sa = 2.0 * t * q;
    vec c = at(g->cos, i), s = at(g->sin, i);
    w.v = less(at(g->to_centre, i), mix(c, ca, s, sa));
    w.dv = mix(c, sa, s, -ca);
    w.ll = dot(w.v, w.v);
    w.mu = sqrt(most(w.ll - g->ff[i], OUT_OF_MU * OUT_OF_MU));
    return w;
}

typedef struct { vec d, axis, k1, k2; double d3, p3, pp, m, disc, s, rll, rmu; } turn;

piece turn turned(const block *g, int i, const swing *w) {
    turn u;
    double ll = w->ll, mu = w->mu;
    u.p3 = g->of_p[0][i] + mu * g->of_p[1][i];
    u.pp = g->of_p[2][i] * ll - u.p3 * u.p3;
    u.d = sum(at(g->d_fixed, i), w->v);
    u.d.y += g->rack[i];
    u.d3 = dot(w->v, u.d);
    double d2 = dot(u.d, u.d);
    double c = 0.5 * (g->dd[i] + d2) * ll - u.p3 * u.d3;
    u.m = u.pp * (d2 * ll - u.d3 * u.d3);
    u.disc = u.m - c * c;
    double mul = mu * ll, every = 1.0 / (u.m * mul), rm = every * mul;
    u.rll = every * u.m * mu;
    u.rmu = every * u.m * ll;
    u.s = sqrt(most(u.disc, 0.0) * u.rll) * g->sign[i];
    u.axis = times(w->v, u.rll);
    vec g1 = less(u.d, times(u.axis, u.d3)), g2 = cross(w->v, u.d);
    double cm = c * rm, sm = u.s * rm;
    u.k1 = mix(g1, cm, g2, sm);
    u.k2 = mix(g2, cm, g1, -sm * ll);
    return u;
}

piece vec image(const rows5 five, int i, const swing *w, const turn *u) {
    double x3 = five[0][i] + w->mu * five[1][i];
    double x1 = five[2][i] * w->ll - u->p3 * x3;
    double x2 = five[3][i] + w->mu * five[4][i];
    return sum(times(u->axis, x3), mix(u->k1, x1, u->k2, x2));
}

piece vec rates(const block *g, int i, const swing *w, const turn *u, vec p, double *num) {
    double vdv = dot(w->v, w->dv), slide = vdv * u->rmu;
    double a1 = slide * (g->of_p[1][i] * w->ll) - u->p3 * vdv, a2 = slide * g->of_a[i];
    vec omega = cross(u->axis, less(w->dv, mix(u->k1, a1, u->k2, a2)));
    *num = dot(omega, cross(u->d, p)) + dot(less(u->d, p), w->dv);
    return omega;
}

piece double over(const block *g, int i, double lift, vec e, vec o) { return o.z - e.z - (g->ride[i] + lift); }

piece bool is_lost(double miss, double m, double disc, double mu) {
    return (disc < -(LOST + LOST_PER_MM * fabs(miss)) * m) & (mu > LEAST_MU);
}

piece double height(const block *g, int i, double lift, bool *lost) {
    swing w = swing_strut(g, i, g->t[i]);
    turn u = turned(g, i, &w);
    double miss = over(g, i, lift, w.v, image(g->of_w, i, &w, &u));
    *lost = is_lost(miss, u.m, u.disc, w.mu);
    return miss;
}

pass int newton(block *restrict g, double lift) {
    int left = 0;
    each_lane {
        double t = g->t[i], num;
        swing w = swing_strut(g, i, t);
        turn u = turned(g, i, &w);
        vec o = image(g->of_w, i, &w, &u), p = mix(u.axis, u.p3, u.k1, u.pp);
        vec omega = rates(g, i, &w, &u, p, &num);
        double miss = over(g, i, lift, w.v, o);
        bool going = !((fabs(miss) <= ARRIVED) | is_lost(miss, u.m, u.disc, w.mu));
        double rise = omega.x * o.y - omega.y * o.x - w.dv.z, gain = w.v.x * o.y - w.v.y * o.x;
        bool followed = num * num * w.ll < MOST_TURN_RATE * MOST_TURN_RATE * (u.s * u.s);
        double rate = followed ? rise * u.s - gain * num : rise;
        double per_mm = 0.5 * (1.0 + t * t) * (followed ? u.s : 1.0) / rate;
        double moved = held_between(t - held_between(miss * per_mm, MOST_TURN), FURTHEST_T);
        g->t0[i] = t;
        g->f0[i] = miss;
        g->per_mm[i] = per_mm;
        g->t[i] = going ? moved : t;
        g->going[i] = going ? 1.0 : 0.0;
        left += going;
    }
    return left;
}

pass void second_step(block *restrict g, double lift) {
    each_lane {
        bool lost;
        double miss = height(g, i, lift, &lost), t = g->t[i], f0 = g->f0[i];
        double ratio = f0 / (f0 - miss), moved = t - miss * g->per_mm[i] * (ratio * ratio);
        bool there = (fabs(miss) <= ARRIVED) | lost | (fabs(miss) > 0.5 * fabs(f0));
        bool going = (g->going[i] > 0.0) & !there;
        g->t1[i] = t;
        g->f1[i] = miss;
        g->t[i] = going ? moved : t;
        g->going[i] = going ? 1.0 : 0.0;
    }
}

pass void third_step(block *restrict g, double lift) {
    each_lane {
        bool lost;
        double f2 = height(g, i, lift, &lost), t0 = g->t0[i], t1 = g->t1[i], t2 = g->t[i];
        double f0 = g->f0[i], f1 = g->f1[i], per10 = 1.0 / (f1 - f0), per20 = 1.0 / (f2 - f0);
        double d21 = (t2 - t1) / (f2 - f1), d10 = (t1 - t0) * per10;
        double d100 = (d10 - g->per_mm[i]) * per10, d210 = (d21 - d10) * per20, d2100 = (d210 - d100) * per20;
        double moved = t2 - f2 * (d21 - f1 * (d210 - f0 * d2100));
        bool there = (fabs(f2) <= ARRIVED) | lost | (fabs(f2) > 0.5 * fabs(f1));
        g->t[i] = ((g->going[i] > 0.0) & !there) ? moved : t2;
    }
}

pass void look(block *restrict g, double lift) {
    each_lane {
        bool lost;
        g->miss[i] = height(g, i, lift, &lost);
        g->lost[i] = lost ? 1.0 : 0.0;
    }
}

pass int still_out(block *restrict g) {
    int left = 0;
    each_lane {
        bool there = (fabs(g->miss[i]) <= ARRIVED) | (g->lost[i] > 0.0);
        g->going[i] = there ? 0.0 : 1.0;
        left += !there;
    }
    return left;
}

/* the safeguard: halving between the ends of the arm's range */
pass void halve(block *restrict g, double lift) {
    each_lane {
        g->low[i] = -FURTHEST_T;
        g->high[i] = FURTHEST_T;
        g->t[i] = g->going[i] > 0.0 ? -FURTHEST_T : g->t[i];
    }
    look(g, lift);
    each_lane {
        g->below[i] = g->miss[i] < 0.0 ? 1.0 : 0.0;
        g->t[i] = g->going[i] > 0.0 ? FURTHEST_T : g->t[i];
    }
    look(g, lift);
    each_lane g->going[i] = (g->miss[i] < 0.0 ? 1.0 : 0.0) == g->below[i] ? 0.0 : g->going[i];
    for (int n = 0; n < MOST_HALVINGS; n++) {
        double left = 0.0;
        each_lane left += g->going[i];
        if (left == 0.0) return;
        each_lane g->t[i] = g->going[i] > 0.0 ? 0.5 * (g->low[i] + g->high[i]) : g->t[i];
        look(g, lift);
        each_lane {
            bool low_side = (g->miss[i] < 0.0 ? 1.0 : 0.0) == g->below[i];
            g->low[i] = low_side ? g->t[i] : g->low[i];
            g->high[i] = low_side ? g->high[i] : g->t[i];
            bool there = (fabs(g->miss[i]) <= ARRIVED) | (g->lost[i] > 0.0);
            g->going[i] = there ? 0.0 : g->going[i];
        }
    }
}

pass void find_further(block *restrict g, double lift) {
    for (int n = 0; n < MOST_STEPS; n++)
        if (newton(g, lift) == 0) return;
    look(g, lift);
    if (still_out(g) > 0) halve(g, lift);
}

/* whole states, `apart` doubles from row to row */
pass void fill(block *restrict g, double lift, bool by_travel, double *restrict out, long apart,
               int8_t *restrict marks) {
#define TO(r) out[(r) * apart + i]
#define PUT(r, a) (TO(r) = (a).x, TO((r) + 1) = (a).y, TO((r) + 2) = (a).z)
#pragma GCC ivdep
    each_lane {
        double num;
        swing w = swing_strut(g, i, g->t[i]);
        turn u = turned(g, i, &w);
        vec o = image(g->of_w, i, &w, &u), n = image(g->of_y, i, &w, &u), x = image(g->of_x, i, &w, &u);
        vec p = mix(u.axis, u.p3, u.k1, u.pp), omega = rates(g, i, &w, &u, p, &num);
        vec ball = less(at(g->top, i), w.v), centre = sum(ball, o), axis = times(w.v, sqrt(u.rll));
        vec outer = sum(ball, p);
        double level = 1.0 - n.z * n.z, root = sqrt(level), held = fabs(u.s) > 1e-6 ? u.s : 1e-6;
        double rod3 = u.d3 - u.p3, seen = u.pp * (g->rod[i] * w.ll - rod3 * rod3);
        double every = 1.0 / (root * held * seen), rl = every * (held * seen);
        omega = sum(omega, times(w.v, -num * (every * root * seen)));
        double rise = omega.x * o.y - omega.y * o.x - w.dv.z;
        double down = g->radius[i] * rl, lean = down * n.z, contact_z = centre.z - down * level;
        double dsy = omega.z * n.x - omega.x * n.z, dsz = omega.x * n.y - omega.y * n.x;
        double grow = n.z * dsz * (rl * rl), rate = omega.z * o.x - omega.x * o.z - w.dv.y;
        double side = dsz * n.y + n.z * (dsy + grow * n.y), miss = over(g, i, lift, w.v, o);
        TO(ARM_T) = g->t[i];
        PUT(AXIS, axis);
        PUT(SPINDLE, n);
        PUT(CENTRE, centre);
        TO(CONTACT) = centre.x + lean * n.x;
        TO(CONTACT + 1) = centre.y + lean * n.y;
        TO(CONTACT + 2) = contact_z;
        TO(CONTACT_RATE_Y) = rate + down * side;
        TO(CONTACT_RATE_Z) = rise + down * (2.0 * n.z * dsz - grow * level);
        TO(CENTRE_RATE_Z) = rise;
        TO(TOGGLE_SINE) = sqrt(most(u.disc, 0.0) * (every * root * held));
        PUT(BALL_JOINT, ball);
        PUT(ROD_OUTER, outer);
        TO(STRUT_LENGTH) = w.mu;
        PUT(FORWARD, x);
        g->miss[i] = miss;
        g->lost[i] = is_lost(miss, u.m, u.disc, w.mu) ? 1.0 : 0.0;
        bool there = by_travel ? fabs(miss) <= PLACED : fabs(miss) >= 0.0, joined = w.mu > LEAST_MU;
        bool placed = there & joined & (fabs(contact_z) < INFINITY);
        g->below[i] = (u.disc > 0.0) | !joined ? (placed ? REACHED : ARM_OUT_OF_REACH) : ROD_OUT_OF_REACH;
    }
    each_lane marks[i] = (int8_t)g->below[i];
}

piece void five_numbers(rows5 five, int i, vec x, vec f, vec a, vec p, vec fp, vec ap) {
    five[0][i] = dot(x, f);
    five[1][i] = dot(x, a);
    five[2][i] = dot(x, p);
    five[3][i] = dot(x, fp);
    five[4][i] = dot(x, ap);
}

pass void load(block *restrict g, const double *restrict geometry, long lanes) {
#define FROM(r) geometry[(r) * lanes + i]
#define VEC(r) ((vec){FROM(r), FROM((r) + 1), FROM((r) + 2)})
#pragma GCC ivdep
    each_lane {
        vec top = VEC(TOP_MOUNT), f = VEC(STRUT_FOOT), a = VEC(STRUT_AXIS), p = VEC(ROD_END);
        vec fp = cross(f, p), ap = cross(a, p);
        double rod = FROM(ROD_LENGTH);
        put(g->to_centre, i, less(top, VEC(CIRCLE_CENTRE)));
        put(g->top, i, top);
        put(g->cos, i, VEC(CIRCLE_COS));
        put(g->sin, i, VEC(CIRCLE_SIN));
        put(g->d_fixed, i, less(VEC(RACK_END), top));
        g->ff[i] = dot(f, f);
        g->rod[i] = rod * rod;
        g->dd[i] = dot(p, p) - rod * rod;
        put(g->of_p, i, (vec){dot(p, f), dot(p, a), dot(p, p)});
        g->of_a[i] = dot(fp, a);
        five_numbers(g->of_w, i, VEC(WHEEL_CENTRE), f, a, p, fp, ap);
        five_numbers(g->of_x, i, (vec){1.0, 0.0, 0.0}, f, a, p, fp, ap);
        five_numbers(g->of_y, i, (vec){0.0, 1.0, 0.0}, f, a, p, fp, ap);
        g->sign[i] = FROM(BRANCH);
        g->radius[i] = FROM(LOADED_RADIUS);
        g->from[i] = FROM(START);
        g->slope[i] = FROM(START_SLOPE);
        g->ride[i] = FROM(RIDE_Z) - top.z;
    }
}

/* as kinematics.kernel.solve_states for struts with the rod held; lanes must be a multiple of LANES */
void solve_states(const double *restrict geometry, long lanes, const double *restrict travel, long n_states,
                  const double *restrict rack, int by_travel, double *restrict states, int8_t *restrict marks) {
    block g;
    for (long first = 0; first < lanes; first += LANES) {
        load(&g, geometry + first, lanes);
        for (long s = 0; s < n_states; s++) {
            double lift = by_travel ? travel[s] : 0.0;
            double *out = states + s * lanes + first;
            memcpy(g.rack, rack + s * lanes + first, sizeof(row));
            each_lane g.t[i] = held_between(g.from[i] + lift * g.slope[i], FURTHEST_T);
            if (by_travel && newton(&g, lift) > 0) {
                second_step(&g, lift);
                third_step(&g, lift);
            }
            fill(&g, lift, by_travel, out, n_states * lanes, marks + s * lanes + first);
            if (by_travel && still_out(&g) > 0) {
                find_further(&g, lift);
                fill(&g, lift, by_travel, out, n_states * lanes, marks + s * lanes + first);
            }
        }
    }
}
