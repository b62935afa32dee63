/* The peer in C of the match loop: the same events, equations and random numbers as fieldworthy.match, one thread.
   gcc -O3 -march=native -shared -fPIC -o match_loop.so match_loop.c -lm */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

typedef struct {
    const int64_t *step, *item, *action, *draw, *draws, *work, *worker, *way_tank;
    const uint64_t *key;
    const double *until, *period, *distance, *direction, *chance, *points, *stock;
    const double *drive, *lines, *loads, *lever, *motors, *above, *factor, *tanks, *ways, *time, *share;
    int64_t steps, items, places, actions, tasks, kinds, levels, poses, nmotors, deep, ntanks, nways, nshares, start;
} Match;

enum { DONE, LUCK, LATE, AIR, HEAT, OBJECTS, BATTERY, LOAD, FULL, REASONS };
enum { CAP_W, CAP_C, TO_CASE, TO_AIR, RES, KT, KE, I0, I_LIMIT, P_CAP, STALL, COUNT, T_START, MOTOR };
enum { V_OPEN, R_BATTERY, CAPACITY, GEARING, EFFICIENCY, T_AIR, P_ATM, DRIVE };
enum { PIECES = 4, PHASES = 6, NODES = 6, MOST = 16 };
#define ALPHA 0.00393
#define T_REF 293.15
#define PAUSE 5.0

static const double SHARES[NODES] = {0.033765242898423975, 0.16939530676686776, 0.38069040695840156,
                                     0.61930959304159849, 0.83060469323313224, 0.96623475710157603};
static const double PARTS[NODES] = {0.085662246189585178, 0.18038078652406930, 0.23395696728634552,
                                    0.23395696728634552, 0.18038078652406930, 0.085662246189585178};

typedef struct {
    double now, heading, spent, earned, early, hot;
    int64_t place;
    double winding[MOST], casing[MOST], warmed[MOST], pressure[MOST], rested[MOST], stock[MOST][2], counted[MOST],
        odds[MOST], ways[2 * PHASES][3];
    int64_t tried[MOST], ended[MOST * REASONS];
} State;

static void philox(uint64_t x[4], uint64_t seed) {
    uint64_t k0 = seed, k1 = 0;
    for (int i = 0; i < 10; i++) {
        unsigned __int128 a = (unsigned __int128)0xD2E7470EE14C6C93ULL * x[0];
        unsigned __int128 b = (unsigned __int128)0xCA5A826395121157ULL * x[2];
        uint64_t y0 = (uint64_t)(b >> 64) ^ x[1] ^ k0, y2 = (uint64_t)(a >> 64) ^ x[3] ^ k1;
        x[0] = y0, x[1] = (uint64_t)b, x[2] = y2, x[3] = (uint64_t)a;
        k0 += 0x9E3779B97F4A7C15ULL, k1 += 0xBB67AE8584CAA73BULL;
    }
}
static double uniform(uint64_t w) { return ((double)(w >> 12) + 0.5) * (1.0 / 4503599627370496.0); }
static double normal(uint64_t a, uint64_t b) { return sqrt(-2.0 * log(uniform(a))) * cos(2.0 * M_PI * uniform(b)); }
static double gamma_draw(double shape, uint64_t seed, uint64_t run, uint64_t stream, uint64_t which) {
    double d = shape - 1.0 / 3.0, c = 1.0 / sqrt(9.0 * d);
    for (uint64_t count = 0; count < 1000; count++) {
        uint64_t w[4] = {run, stream, count, which};
        philox(w, seed);
        double x = normal(w[0], w[1]), v = 1.0 + c * x;
        if (v > 0.0) {
            v = v * v * v;
            if (log(uniform(w[2])) < 0.5 * x * x + d * (1.0 - v + log(v))) return d * v;
        }
    }
    return d;
}
static double beta_draw(double a, double b, uint64_t seed, uint64_t run, uint64_t stream) {
    double x = gamma_draw(a, seed, run, stream, 1);
    return x / (x + gamma_draw(b, seed, run, stream, 2));
}
static double lognormal(double mean, double sd, double z) {
    if (sd <= 0.0 || mean <= 0.0) return mean;
    double variance = log1p((sd / mean) * (sd / mean));
    return mean * exp(sqrt(variance) * z - 0.5 * variance);
}

static double speed_up(const double *line, const double *load, double v) {
    double force = fmin(fmin(line[0] - line[1] * v, line[2]), line[3] / fmax(v, 1e-9));
    return fmin((force - load[2]) / (load[0] + load[1]), load[3]);
}
static double corners(const double *line, const double *load, double *e) {
    double stall = line[0], slope = line[1], power = line[3], drag = load[2];
    double held = fmin(fmin(line[2], load[3] * (load[0] + load[1]) + drag), stall);
    if (!(held > drag && power > 0.0)) return 0.0;
    double top = fmin((stall - drag) / slope, fmin(power, 1e200) / fmax(drag, 1e-100));
    double most = top * -expm1(-18.0), root = sqrt(fmax(stall * stall - 4.0 * slope * power, 0.0));
    e[0] = fmin(fmax(fmin((stall - held) / slope, power / held), 0.0), most);
    e[1] = fmin(fmax(root > 0.0 ? 2.0 * power / (stall + root) : 0.5 * stall / slope, e[0]), most);
    e[2] = fmin(fmax((stall + root) / (2.0 * slope), e[1]), most);
    e[3] = most;
    return top;
}
static void grid(double low, double high, double top, double *c, double *start, double *wide) {
    *c = low > 1e-3 * high ? 0.0 : top;
    *start = log((low + *c) / (top - low));
    *wide = log((high + *c) / (top - high)) - *start;
}
static double way_of(const double *line, const double *load, double low, double high, double top) {
    double c, start, wide, way = 0.0;
    grid(low, high, top, &c, &start, &wide);
    for (int k = 0; k < NODES; k++) {
        double e = exp(start + SHARES[k] * wide), v = fmax((top * e - c) / (1.0 + e), 0.0);
        way += PARTS[k] * v * (v + c) * (top - v) / ((top + c) * speed_up(line, load, v));
    }
    return way * wide;
}
static double terminal(double speed, double open, double source, double ke, double r, double bound) {
    double induced = ke * speed, share = source / r, on_line = (open + share * induced) / (1.0 + share);
    double held = fmin(bound, (on_line - induced) / r), power = held * (held * r + induced);
    double at_power = 0.5 * (open + sqrt(fmax(open * open - 4.0 * source * power, 0.0)));
    return bound < (on_line - induced) / r ? at_power : on_line;
}
static double currents(double force, double v, const double *drive, const double *row, double *drawn) {
    double shaft = drive[GEARING] * v, torque = force / (row[COUNT] * drive[GEARING] * drive[EFFICIENCY]);
    double current = torque / row[KT] + row[I0];
    double volt = terminal(shaft, drive[V_OPEN], row[COUNT] * drive[R_BATTERY], row[KE], row[RES], current);
    *drawn = row[COUNT] * (current * (current * row[RES] + row[KE] * shaft)) / volt;
    return current;
}
static void run_up(const double *line, const double *load, double low, double high, double top, const double *drive,
                   const double *row, double *phase) {
    double c, start, wide, drawn, mass = load[0] + load[1];
    grid(low, high, top, &c, &start, &wide);
    for (int k = 0; k < NODES; k++) {
        double e = exp(start + SHARES[k] * wide), v = fmax((top * e - c) / (1.0 + e), 0.0);
        double a = speed_up(line, load, v), time = PARTS[k] * (v + c) * (top - v) / ((top + c) * a) * wide;
        double current = currents(a * mass + load[2], v, drive, row, &drawn);
        phase[0] += time, phase[1] += time * current * current, phase[2] += time * drawn;
    }
}
static double search(const double *line, const double *load, double low, double high, double top, double done,
                     double distance) {
    double half = 0.5 / load[4], left = -log1p(-low / top), right = -log1p(-high / top);
    double inverse = 1.0 / speed_up(line, load, 0.5 * (low + high));
    double v = sqrt(fmax((2.0 * (distance - done) + inverse * low * low) / (inverse + 2.0 * half), 0.0));
    double s = low < v && v < high ? -log1p(-v / top) : 0.5 * (left + right);
    for (int i = 0; i < 30; i++) {
        v = top * -expm1(-s);
        double way = v > low ? way_of(line, load, low, v, top) : 0.0;
        double error = done + way + half * v * v - distance;
        if (fabs(error) < 1e-11 * distance) break;
        if (error < 0.0) left = s; else right = s;
        double slope = v * (1.0 / speed_up(line, load, v) + 2.0 * half) * (top - v);
        s = slope > 0.0 ? s - error / slope : right;
        if (!(left < s && s < right)) s = 0.5 * (left + right);
    }
    return top * -expm1(-s);
}
static double peak_of(const double *line, const double *load, const double *e, double top, double distance,
                      double *cruise) {
    double half = 0.5 / load[4], low = e[0], inverse = 1.0 / speed_up(line, load, 0.0);
    double done = 0.5 * inverse * low * low;
    *cruise = 0.0;
    if (done + half * low * low >= distance) return sqrt(2.0 * distance / (inverse + 2.0 * half));
    for (int p = 1; p < PIECES; p++) {
        double high = e[p];
        if (high <= low) continue;
        double way = way_of(line, load, low, high, top);
        if (done + way + half * high * high >= distance) return search(line, load, low, high, top, done, distance);
        low = high, done += way;
    }
    *cruise = fmax(distance - done - half * low * low, 0.0);
    return low;
}
static double phases_of(const double *line, const double *load, double distance, const double *drive,
                        const double *row, double (*phase)[3]) {
    double e[PIECES], cruise, drawn, total = 0.0, mass = load[0] + load[1];
    memset(phase, 0, sizeof(double) * 3 * PHASES);
    if (distance <= 0.0) return 0.0;
    double top = corners(line, load, e);
    if (top <= 0.0) return INFINITY;
    double peak = peak_of(line, load, e, top, distance, &cruise), low = fmin(e[0], peak);
    if (low > 0.0) {
        double a = speed_up(line, load, 0.0), time = low / a;
        for (int k = 0; k < NODES; k++) {
            double current = currents(a * mass + load[2], SHARES[k] * low, drive, row, &drawn);
            phase[0][1] += PARTS[k] * time * current * current, phase[0][2] += PARTS[k] * time * drawn;
        }
        phase[0][0] = time;
    }
    for (int p = 1; p < PIECES; p++) {
        double high = fmin(e[p], peak);
        if (high > low) run_up(line, load, low, high, top, drive, row, phase[p]), low = high;
    }
    if (cruise > 0.0) {
        double time = cruise / top;
        double current = currents(speed_up(line, load, peak) * mass + load[2], peak, drive, row, &drawn);
        phase[PIECES][0] = time, phase[PIECES][1] = time * current * current, phase[PIECES][2] = time * drawn;
    }
    double stop = peak / load[4], force = fmax(load[4] * mass - load[2], 0.0);
    double torque = force * drive[EFFICIENCY] / (row[COUNT] * drive[GEARING]);
    double current = fmax(torque / row[KT] - row[I0], 0.0);
    phase[PIECES + 1][0] = stop, phase[PIECES + 1][1] = stop * current * current;
    for (int p = 0; p < PHASES; p++) total += phase[p][0];
    return total;
}

static void two_node(double *w, double *c, double heating, double self, double to_case, double from_w, double to_air) {
    double p = to_case - self, d = from_w + to_air, mean = -0.5 * (p + d), diff = 0.5 * (d - p);
    double half = fmax(sqrt(diff * diff + to_case * from_w), 1e-12), big = mean + copysign(half, mean);
    double small = (to_case * to_air - self * d) / big;
    double slow = fmin(fmax(big, small), 200.0), fast = fmin(fmin(big, small), 200.0);
    double es = exp(slow), ef = exp(fast), s0 = slow, f0 = fast;
    if (fabs(s0) < 1e-12) s0 += 1e-12;
    if (s0 == 0.0) s0 = 1e-12;
    if (fabs(f0) < 1e-12) f0 += 1e-12;
    if (f0 == 0.0) f0 = 1e-12;
    double ps = expm1(s0) / s0, pf = expm1(f0) / f0, spread = -es * expm1(-2.0 * half) / (2.0 * half);
    double middle = 0.5 * (es + ef), phi_spread = (ps - pf) / (2.0 * half), phi_middle = 0.5 * (ps + pf);
    double nw = (middle + spread * diff) * *w + spread * to_case * *c + (phi_middle + phi_spread * diff) * heating;
    double nc = spread * from_w * *w + (middle - spread * diff) * *c + phi_spread * from_w * heating;
    *w = nw, *c = nc;
}
static void warm(const Match *m, const double *drive, const double *motors, State *s, int64_t i, double square,
                 double time) {
    if (time <= 0.0) return;
    const double *row = motors + i * MOTOR;
    double pw = time / row[CAP_W], pc = time / row[CAP_C], loss = square * row[RES];
    two_node(&s->winding[i], &s->casing[i], loss * (1.0 + ALPHA * (drive[T_AIR] - T_REF)) * pw, loss * ALPHA * pw,
             pw / row[TO_CASE], pc / row[TO_CASE], pc / row[TO_AIR]);
    s->warmed[i] += time;
    s->hot = fmax(s->hot, s->winding[i] + drive[T_AIR]);
}
static int64_t act(const Match *m, int64_t c, State *s, uint64_t seed, uint64_t run, int64_t step, int64_t period) {
    const double *drive = m->drive + c * DRIVE, *motors = m->motors + c * m->nmotors * MOTOR;
    int64_t action = m->step[2 * step], place = m->step[2 * step + 1], reason = DONE, over = 0;
    const int64_t *act_row = m->action + 6 * action;
    const double *when = m->time + (c * m->actions + action) * 2;
    uint64_t w[4] = {run, m->key[action], (uint64_t)s->tried[action]++, 0};
    philox(w, seed);
    double time = lognormal(when[0], when[1], normal(w[0], w[1])), end = m->period[3 * period + 1], leaves = s->now;
    int won = uniform(w[2]) < s->odds[action], look = m->period[3 * period + 2] > 0.0;
    int64_t task = act_row[1], scored = act_row[3], takes = act_row[4], taken = act_row[5];
    if (s->spent >= drive[CAPACITY]) { reason = BATTERY, over = 1; goto out; }
    if (leaves >= end) { reason = LATE, over = 1; goto out; }
    if (period > 0 && ((task >= 0 && scored >= 0 && s->stock[scored][0] <= 0.0) ||
                       (takes > 0 && s->stock[taken][1] <= 0.0))) { reason = OBJECTS; goto out; }
    double distance = m->distance[s->place * m->places + place], way = 0.0;
    double direction = m->direction[s->place * m->places + place];
    if (distance > 0.0) {
        warm(m, drive, motors, s, 0, 0.0, s->now - s->warmed[0]);
        int64_t level = 0;
        for (int64_t i = 0; i < m->deep; i++)
            if (s->winding[0] + drive[T_AIR] >= m->above[c * m->nmotors * m->deep + i]) level = i + 1;
        const double *line = m->lines + (c * m->levels + level) * 4;
        const double *loads = m->loads + ((c * m->levels + level) * m->poses + act_row[0]) * 10;
        double angle = fmod(direction - s->heading + M_PI, 2.0 * M_PI);
        angle = fabs((angle < 0.0 ? angle + 2.0 * M_PI : angle) - M_PI);
        angle = fmin(angle, M_PI - angle);
        way = phases_of(line, loads + 5, angle * m->lever[c * m->poses + act_row[0]], drive, motors, s->ways);
        way += phases_of(line, loads, distance, drive, motors, s->ways + PHASES);
        if (!isfinite(way)) { reason = level > 0 ? HEAT : LOAD; s->now = fmin(leaves + PAUSE, end); goto out; }
    }
    if (leaves + way + (look ? when[0] : 0.0) > end) { reason = LATE, over = 1; goto out; }
    if (distance > 0.0) {
        s->heading = direction, s->place = place;
        for (int k = 0; k < 2 * PHASES; k++)
            if (s->ways[k][0] > 0.0) {
                warm(m, drive, motors, s, 0, s->ways[k][1] / s->ways[k][0], s->ways[k][0]);
                s->spent += s->ways[k][2], s->now += s->ways[k][0];
            }
    }
    double limit = look ? m->period[7] : end, begins = s->now;
    for (int64_t k = m->work[2 * action]; k < m->work[2 * action] + m->work[2 * action + 1]; k++) {
        int64_t i = m->worker[k];
        const double *row = motors + i * MOTOR;
        warm(m, drive, motors, s, i, 0.0, s->now - s->warmed[i]);
        double wanted = m->share[c * m->nshares + k] * row[STALL] / row[KT] + row[I0], left = 1.0;
        for (int64_t j = 0; j < m->deep; j++)
            if (s->winding[i] + drive[T_AIR] >= m->above[(c * m->nmotors + i) * m->deep + j])
                left = fmin(left, m->factor[(c * m->nmotors + i) * m->deep + j]);
        double current = fmin(wanted, row[I_LIMIT] * left);
        if (current < wanted) reason = wanted <= row[I_LIMIT] ? HEAT : LOAD;
        double source = drive[R_BATTERY] * row[COUNT];
        double speed = fmax((drive[V_OPEN] - current * (row[RES] + source)) / row[KE], 0.0);
        speed = fmin(speed, row[P_CAP] / fmax(row[KT] * (current - row[I0]), 1e-12));
        if (current < wanted) speed = 0.0;
        double volt = terminal(speed, drive[V_OPEN], source, row[KE], row[RES], current);
        double span = fmin(time, limit - begins);
        s->spent += row[COUNT] * current * (current * row[RES] + row[KE] * speed) / fmax(volt, 1e-9) * span;
        warm(m, drive, motors, s, i, current * current, span);
    }
    s->now = fmin(begins + time, limit);
    if (begins + time > limit) { reason = LATE, over = 1; goto out; }
    int short_air = 0;
    for (int64_t k = m->draw[2 * action]; k < m->draw[2 * action] + m->draw[2 * action + 1]; k++) {
        int64_t q = m->draws[k], t = m->way_tank[q];
        const double *tank = m->tanks + (c * m->ntanks + t) * 4, *stroke = m->ways + (c * m->nways + q) * 3;
        double atm = drive[P_ATM], p = atm + (s->pressure[t] - atm) * exp(-(s->now - s->rested[t]) / tank[3]);
        s->rested[t] = s->now;
        double fill = fmin(tank[2], (p * tank[0] + atm * stroke[0]) / (tank[0] + stroke[1]));
        s->pressure[t] = fmax(p - (fill * stroke[1] - atm * stroke[0]) / tank[0], fmin(p, atm));
        short_air |= fmin(s->pressure[t], tank[2]) < stroke[2];
    }
    if (reason == DONE && short_air) reason = AIR;
    if (reason == DONE) {
        double number = (double)act_row[2];
        int lacks = 0;
        if (task >= 0 && scored >= 0) {
            number = fmin(number, s->stock[scored][0]);
            s->stock[scored][0] -= number, lacks = number <= 0.0;
        }
        if (takes > 0) {
            double got = fmin((double)takes, s->stock[taken][1]);
            lacks |= got <= 0.0;
            if (won) s->stock[taken][0] += got, s->stock[taken][1] -= got;
        }
        if (lacks || !won) reason = lacks ? OBJECTS : LUCK;
        else if (task >= 0) {
            double counts = fmin(number, m->points[3 * task + 2] - s->counted[task]);
            s->counted[task] += counts;
            double earned = counts * (m->points[3 * task] + (period == 0 ? m->points[3 * task + 1] : 0.0));
            s->earned += earned;
            if (period == 0) s->early += earned;
            reason = counts > 0.0 ? DONE : FULL;
        }
    }
out:
    s->ended[action * REASONS + reason]++;
    return over;
}

void play_all(const Match *m, int64_t runs, int64_t first, int64_t each, uint64_t seed, double *totals,
              double *pressure, double *finished, int64_t *ended) {
    for (int64_t r = 0; r < runs; r++) {
        State s;
        memset(&s, 0, sizeof s);
        int64_t c = first + r * each, current = -1, over = 0;
        const double *drive = m->drive + c * DRIVE, *motors = m->motors + c * m->nmotors * MOTOR;
        s.place = m->start;
        for (int64_t i = 0; i < m->nmotors; i++) {
            s.winding[i] = s.casing[i] = motors[i * MOTOR + T_START] - drive[T_AIR];
            s.hot = fmax(s.hot, motors[i * MOTOR + T_START]);
        }
        for (int64_t t = 0; t < m->ntanks; t++) s.pressure[t] = m->tanks[(c * m->ntanks + t) * 4 + 1];
        for (int64_t k = 0; k < m->kinds; k++) s.stock[k][0] = m->stock[2 * k], s.stock[k][1] = m->stock[2 * k + 1];
        for (int64_t a = 0; a < m->actions; a++) {
            const double *odds = m->chance + 3 * a;
            s.odds[a] = odds[2] < 0.0 ? beta_draw(odds[0], odds[1], seed, (uint64_t)r, m->key[a]) : odds[2];
        }
        for (int64_t i = 0; i < m->items; i++) {
            int64_t period = m->item[4 * i], head = m->item[4 * i + 1], length = m->item[4 * i + 2];
            if (period != current) current = period, over = 0, s.now = fmax(s.now, m->period[3 * period]);
            for (int64_t k = 0; k < m->item[4 * i + 3]; k++) {
                if (over || s.now >= m->until[i]) break;
                double before = s.now;
                for (int64_t step = head; step < head + length && !over; step++) {
                    int64_t at = m->step[2 * step] * REASONS, done = s.ended[at];
                    over = act(m, c, &s, seed, (uint64_t)r, step, period);
                    finished[r * m->steps + step] += (double)(s.ended[at] - done);
                }
                if (s.now <= before) break;
            }
        }
        totals[4 * r] = s.earned, totals[4 * r + 1] = s.early, totals[4 * r + 2] = s.hot, totals[4 * r + 3] = s.spent;
        memcpy(pressure + r * m->ntanks, s.pressure, sizeof(double) * (size_t)m->ntanks);
        memcpy(ended + r * m->actions * REASONS, s.ended, sizeof(int64_t) * (size_t)(m->actions * REASONS));
    }
}
