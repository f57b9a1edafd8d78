#!/usr/bin/env python3
"""What a stranger's files can do to the program.

  hostile.py [--only NAME[,NAME...]] [--first] [--commands validate,overlay,show,changelog,build]
            [--program PATH] [--tree CHECKOUT] [--keep DIR] [--json FILE] [--list]

Each function `a_NAME(seed)` below is one attack: it gives a mapping of paths to texts (or a pair of such
mappings: first commit, second commit), and optionally the profile that `show` asks for. The tree attacked is a
copy of the demonstration (profiles-src, schema, release). Every command runs alone, under nice, with 6 GB of
address space and 60 s. A file has at most 256 KiB, an attack 8 MiB and 2,000 files: asserted.

Verdicts: ok; SLOW (over 2 s); BIG (over 300 MB); TIME (killed at 60 s); CRASH (signal or exit 3); OUT (over 50 MB printed).
"""
import argparse, json, os, random, resource, shutil, subprocess, sys, tempfile, time

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
FILE, TOTAL, FILES = 256 * 1024, 8 << 20, 2000
M, P, Q = 'profiles-src/machine/', 'profiles-src/material/', 'profiles-src/process/'
ATTACKS = []


def attack(f):
    ATTACKS.append((f.__name__[2:], f))
    return f


def name(i):
    """Short names in order: a..z, aa.. ; letters only, so that YAML reads words."""
    out = ''
    i += 1
    while i:
        i, r = divmod(i - 1, 26)
        out = chr(97 + r) + out
    return out if out not in ('null', 'true', 'false', 'none', 'y', 'n') else out + '-x'


def fill(make, budget, start=0):
    """Joins make(0), make(1)... as far as the budget of bytes goes."""
    out, size, i = [], 0, start
    while True:
        s = make(i)
        if size + len(s.encode()) > budget:
            return ''.join(out), i
        out.append(s)
        size += len(s.encode())
        i += 1


MACHINE = 'title: X\nabout: x\nauthors: [x]\nextends: [heron-220+0.4]\n'
PROCESS = 'title: X\nabout: x\nauthors: [x]\nextends: [everyday]\n'
MATERIAL = 'title: X\nabout: x\nauthors: [x]\nextends: [pla-plain]\n'
SHOW = 'x/pla-plain/everyday'
KEYS = []  # filled from the program


def speeds():
    return [k for k in KEYS if k.endswith('.speed')]


# ---------------------------------------------------------------- names, fittings, inheritance
@attack
def a_replaces_times_fittings(seed):
    """One file: old names of the base are claimed again for each fitting."""
    olds, _ = fill(lambda i: name(i) + '-o,', 120_000)
    fits, _ = fill(lambda i: '"%s":{},' % name(i), 120_000)
    return {M + 'x.yaml': MACHINE + 'replaces: [%s]\nfittings: {%s}\n' % (olds[:-1], fits[:-1])}, 'x+a/pla-plain/everyday'


@attack
def a_fits_times_fittings(seed):
    """One file: the base's `fits` names thousands, and is written out anew for each fitting and partner."""
    pats, _ = fill(lambda i: '"!%s",' % name(i), 120_000)
    fits, _ = fill(lambda i: '"%s":{},' % name(i), 120_000)
    return {M + 'x.yaml': MACHINE + 'fits: {process: [%s everyday]}\nfittings: {%s}\n' % (pats, fits[:-1])}, 'x+a/pla-plain/everyday'


@attack
def a_fittings_product(seed):
    """One file of fittings: each makes profiles with all materials and processes."""
    fits, _ = fill(lambda i: '"%s":{},' % name(i), 250_000)
    return {M + 'x.yaml': MACHINE + 'fittings: {%s}\n' % fits[:-1]}, 'x+a/pla-plain/everyday'


@attack
def a_fittings_product_full(seed):
    """30 files of fittings."""
    out = {}
    for k in range(30):
        fits, _ = fill(lambda i: '"%s":{},' % name(i), 250_000)
        out[M + 'x%d.yaml' % k] = MACHINE + 'fittings: {%s}\n' % fits[:-1]
    return out, 'x0+a/pla-plain/everyday'


@attack
def a_fittings_three_axes(seed):
    """300 fittings of each kind: 27 million triples from 10 KB."""
    fits = ','.join('"%s":{}' % name(i) for i in range(300))
    return {M + 'x.yaml': MACHINE + 'fittings: {%s}\n' % fits, P + 'x.yaml': MATERIAL + 'fittings: {%s}\n' % fits,
            Q + 'x.yaml': PROCESS + 'fittings: {%s}\n' % fits}, 'x+a/x+a/x+a'


@attack
def a_fitting_long_name(seed):
    """A name of 200 KB, told with every profile that it is in."""
    return {M + 'x.yaml': MACHINE + 'fittings:\n  ? %s\n  : { settings: { nozzle.diameter: 0.4 mm } }\n' % ('a' * 200_000)}


@attack
def a_fitting_long_names(seed):
    """60 fittings with names of 4 KB, in a tree where each profile has warnings."""
    fits = ''.join('  ? "%s%03d"\n  : {settings: {firmware.grammar: rs274}}\n' % ('a' * 4000, i) for i in range(60))
    return {M + 'x.yaml': MACHINE + 'fittings:\n' + fits}


@attack
def a_deep_times_fittings(seed):
    """A chain of 1,000 files, and 250,000 fittings at its end: each keeps its whole linearisation."""
    out = {Q + 'x0.yaml': PROCESS + 'abstract: true\n'}
    for i in range(1, 1000):
        out[Q + 'x%d.yaml' % i] = 'abstract: true\nextends: x%d\n' % (i - 1)
    for k in range(30):
        fits, _ = fill(lambda i: '"%s":{},' % name(i), 250_000)
        out[Q + 'y%d.yaml' % k] = 'title: X\nabstract: true\nextends: x999\nfittings: {%s}\n' % fits[:-1].replace('{}', '{abstract: true}') if False else 'title: X\nextends: x999\nfits: {machine: none-such}\nfittings: {%s}\n' % fits[:-1]
    return out, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_wide_times_fittings(seed):
    """20,000 fittings as parents of one fragment, whose 12,000 fittings each keep them all. Two files."""
    fits, n = fill(lambda i: '%s: {},' % name(i), 150_000)
    par, _ = fill(lambda i: 'w+%s,' % name(i), 130_000)
    fits2, _ = fill(lambda i: '"%s":{},' % name(i), 120_000)
    return {Q + 'w.yaml': 'title: W\nabout: w\nfits: {machine: wren-120+0.4}\nfittings: {%s}\n' % fits[:-1],
            Q + 'x.yaml': 'title: X\nfits: {machine: none-such}\nextends: [%s]\nfittings: {%s}\n' % (par[:-1], fits2[:-1])}, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_wide_parents(seed):
    """Thousands of parents in each of 30 files: the merge looks at all heads for each step."""
    fits, n = fill(lambda i: '"%s":{},' % name(i), 250_000)
    out = {Q + 'w.yaml': 'title: W\nfits: {machine: none-such}\nfittings: {%s}\n' % fits[:-1]}
    for k in range(30):
        par, _ = fill(lambda i: 'w+%s,' % name(i), 160_000)
        out[Q + 'x%d.yaml' % k] = 'title: X\nfits: {machine: none-such}\nextends: [%s]\n' % par[:-1]
    return out, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_cycles(seed):
    """1,900 files that extend each other at random, back and forth: every edge back is a circle of its own."""
    r = random.Random(seed)
    n = 1900
    out = {}
    for i in range(n):
        par = [(i + 1) % n] + r.sample(range(n), 700)
        par = [p for p in dict.fromkeys(par) if p != i]
        out[Q + 'x%d.yaml' % i] = 'extends: [%s]\n' % ','.join('x%d' % p for p in par)[:4000].rsplit(',', 1)[0]
    return out, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_diamonds(seed):
    """2^650 paths of inheritance in 1,950 files."""
    out = {Q + 'x0.yaml': PROCESS}
    for i in range(1, 650):
        out[Q + 'x%d.yaml' % i] = 'extends: [l%d, r%d]\n' % (i, i)
        out[Q + 'l%d.yaml' % i] = 'extends: x%d\nabstract: true\n' % (i - 1)
        out[Q + 'r%d.yaml' % i] = 'extends: x%d\nabstract: true\n' % (i - 1)
    return out, 'heron-220+0.4/pla-plain/x649'


@attack
def a_order_clash(seed):
    """A wide clash of orders."""
    r = random.Random(seed)
    out = {}
    n = 400
    for i in range(n):
        out[Q + 'x%d.yaml' % i] = PROCESS
    for i in range(300):
        par = list(range(n))
        r.shuffle(par)
        out[Q + 'y%d.yaml' % i] = 'extends: [%s]\n' % ','.join('x%d' % p for p in par)
    for i in range(600):
        a = r.sample(range(300), 200)
        out[Q + 'z%d.yaml' % i] = 'extends: [%s]\n' % ','.join('y%d' % p for p in a)
    return out, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_chain_scales(seed):
    """1,900 files in a chain; each scales many settings: the story of each value has 1,900 steps."""
    keys = speeds()
    body = 'settings: {%s}\n' % ', '.join('%s: {scale: 1}' % k for k in keys)
    out = {Q + 'x0.yaml': PROCESS}
    for i in range(1, 1900):
        out[Q + 'x%d.yaml' % i] = 'title: X\nabout: x\nauthors: [x]\nabstract: %s\nextends: x%d\n' % ('false' if i == 1899 else 'true', i - 1) + body
    return out, 'heron-220+0.4/pla-plain/x1899'


@attack
def a_unknown_parents(seed):
    """Unknown parents in 10 files against 20,000 names: the nearest is sought for each."""
    fits, n = fill(lambda i: '"%s":{},' % name(i), 250_000)
    out = {Q + 'w.yaml': 'title: W\nfits: {machine: none-such}\nfittings: {%s}\n' % fits[:-1]}
    for k in range(10):
        par, _ = fill(lambda i: 'v+%s,' % name(i), 240_000)
        out[Q + 'x%d.yaml' % k] = 'title: X\nextends: [%s]\n' % par[:-1]
    return out, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_unmatched_names(seed):
    """Names and globs in `if` that match nothing."""
    fits, n = fill(lambda i: '"%s":{},' % name(i), 250_000)
    out = {Q + 'w.yaml': 'title: W\nfits: {machine: none-such}\nfittings: {%s}\n' % fits[:-1]}
    for k in range(10):
        pats, _ = fill(lambda i: '"v+%s*",v+%s,' % (name(i), name(i)), 240_000)
        out[Q + 'x%d.yaml' % k] = PROCESS + 'when: [{if: {process: [%s]}}]\n' % pats[:-1]
    return out, 'heron-220+0.4/pla-plain/x0'


@attack
def a_long_globs(seed):
    """Globs with many stars against names of many letters."""
    fits = ','.join('"%s%s":{}' % ('a' * 200, name(i)) for i in range(1000))
    pat = '"%s"' % ('*a' * 400 + '*b')
    pats = ','.join([pat] * 250)
    return {M + 'x.yaml': MACHINE + 'fits: {machine: [%s, "*"]}\nfittings: {%s}\n' % (pats, fits[:20000].rsplit(',', 1)[0])}


# ---------------------------------------------------------------- locks and limits
@attack
def a_locks_stars(seed):
    """One file: 60,000 times `*` under `locked`; each is kept for each setting."""
    return {M + 'x.yaml': MACHINE + 'locked: [%s]\n' % ','.join(['"*"'] * 64_000)}


@attack
def a_locks_repeated(seed):
    """One file: one key is locked 12,000 times, and every process writes it: so many reports a profile."""
    return {M + 'x.yaml': MACHINE + 'locked: [%s]\n' % ','.join(['wall.outer.speed'] * 14_000)}


@attack
def a_limits_flood(seed):
    """Thousands of patterns that match all speeds, in one file."""
    pats, n = fill(lambda i: '"%s": {at_most: 9000 mm/s}\n  ' % ('*' * (1 + i // 40) + ['s', 'p', 'e', 'd', 'sp', 'pe', 'ee', 'ed', 'spe', 'pee', 'eed', 'spee', 'peed', 'speed', '.s', '.sp', '.spe', '.spee', '.speed', 's*eed', 's*ed', 'p*ed', 's*p', 's*e', 's*d', 'p*e', 'p*d', 'e*d', 'e*e', 's*p*e', 's*p*d', 's*e*d', 'p*e*d', '.*s', '.*p', '.*e', '.*d', '.*s*p', '.*s*e', '.*s*d'][i % 40] + '*'), 240_000)
    return {M + 'x.yaml': MACHINE + 'limits:\n  ' + pats.rstrip() + '\n'}


@attack
def a_limits_inherited(seed):
    """30 files of such patterns, each extending the one before."""
    words = ['s', 'p', 'e', 'd', 'sp', 'pe', 'ee', 'ed', 'spe', 'pee', 'eed', 'spee', 'peed', 'speed', '.s', '.sp', '.spe', '.spee', '.speed']
    out = {}
    for k in range(30):
        pats, n = fill(lambda i: '"%s": {at_most: 9000 mm/s}\n  ' % ('*' * (1 + i // 19) + words[i % 19] + '*' * (k + 1)), 240_000)
        out[M + 'x%d.yaml' % k] = (MACHINE if k == 0 else 'title: X\nextends: x%d\n' % (k - 1)) + 'limits:\n  ' + pats.rstrip() + '\n'
    return out, 'x29/pla-plain/everyday'


@attack
def a_limit_formulas(seed):
    """Thousands of limits with formulas on a list of thousands and on speeds."""
    f = '{at_most: {calc: "%s"}}' % ('nozzle.diameter*1000/(1 s)' if False else '900 mm/s + 1 mm/s')
    pats, n = fill(lambda i: '"%s": %s\n  ' % ('*' * (1 + i // 19) + ['s', 'p', 'e', 'd', 'sp', 'pe', 'ee', 'ed', 'spe', 'pee', 'eed', 'spee', 'peed', 'speed', '.s', '.sp', '.spe', '.spee', '.speed'][i % 19] + '*', f), 240_000)
    return {M + 'x.yaml': MACHINE + 'limits:\n  ' + pats.rstrip() + '\n'}


# ---------------------------------------------------------------- values
@attack
def a_list_remove(seed):
    """A list of 30,000 words, of which as many are removed: the product of both for each profile."""
    a, n = fill(lambda i: name(i) + ',', 125_000)
    b, _ = fill(lambda i: name(i) + 'q,', 125_000)
    return {M + 'x.yaml': MACHINE + 'settings: {operator.steps: {append: [%s]}}\n' % a[:-1] +
            'when: [{if: {}, settings: {operator.steps: {remove: [%s]}}}]\n' % b[:-1]}


@attack
def a_list_append_chain(seed):
    """1,000 blocks each append to a list of 60,000: each step is a copy."""
    a, n = fill(lambda i: 'a,', 120_000)
    body, _ = fill(lambda i: ' - {if: {}, settings: {operator.steps: {append: [a]}}}\n', 120_000)
    return {M + 'x.yaml': MACHINE + 'settings: {operator.steps: {append: [%s]}}\n' % a[:-1] + 'when:\n' + body}


@attack
def a_text_values(seed):
    """A text of 200 KB on every profile of a machine and of its materials."""
    t = 'x' * 250_000
    return {M + 'x.yaml': MACHINE + 'settings: {operator.steps: ["%s"]}\n' % t}


@attack
def a_text_values_full(seed):
    """30 files append a text of 250 KB each to a list."""
    t = 'x' * 250_000
    return {(M + 'x%d.yaml' % k): (MACHINE if k == 0 else 'title: X\nextends: x%d\n' % (k - 1)) + 'settings: {operator.steps: {append: ["%s"]}}\n' % t for k in range(30)}, 'x29/pla-plain/everyday'


@attack
def a_titles(seed):
    """A title of 250 KB."""
    return {M + 'x.yaml': 'title: %s\nabout: x\nauthors: [x]\nextends: [heron-220+0.4]\nsettings: {build.x: 200 mm}\n' % ('T' * 250_000)}


@attack
def a_titles_full(seed):
    """30 machines with titles of 250 KB."""
    return {(M + 'x%d.yaml' % k): 'title: %s\nabout: x\nauthors: [x]\nextends: [heron-220+0.4]\nsettings: {build.x: 200 mm}\n' % ('T' * 250_000) for k in range(30)}, 'x0/pla-plain/everyday'


# ---------------------------------------------------------------- formulas and conditions
@attack
def a_formula_units(seed):
    """Formulas of 4 KB whose unit is no unit: every beginning of it is asked for and remembered."""
    def f(k, i): return ('1 m' + ('-' + name(k) + name(i)) * 2000)[:4000]
    return {(Q + 'x%d.yaml' % k): PROCESS + 'when:\n' + ''.join(' - {if: {}, settings: {wall.outer.speed: {calc: "%s"}}}\n' % f(k, i) for i in range(60)) for k in range(30)}, 'heron-220+0.4/pla-plain/x0'


@attack
def a_formula_units_one(seed):
    """The same in one file."""
    f = '1 m' + '-a' * 2000
    body = ''.join(' - {if: {}, settings: {wall.outer.speed: {calc: "%s"}}}\n' % (f.replace('-a', '-' + name(i))[:4080]) for i in range(60))
    return {Q + 'x.yaml': PROCESS + 'when:\n' + body}, 'heron-220+0.4/pla-plain/x'


@attack
def a_where_fails(seed):
    """11,000 conditions in a file that divide by zero: so many reports a profile."""
    body, n = fill(lambda i: '- {if: {where: 1/0>0}}\n', 255_000)
    return {M + 'x.yaml': MACHINE + 'when:\n' + body}


@attack
def a_where_fails_full(seed):
    """30 such files in a chain."""
    body, n = fill(lambda i: '- {if: {where: 1/0>0}}\n', 255_000)
    return {(M + 'x%d.yaml' % k): (MACHINE if k == 0 else 'title: X\nextends: x%d\n' % (k - 1)) + 'when:\n' + body for k in range(30)}, 'x29/pla-plain/everyday'


@attack
def a_where_long(seed):
    """Conditions of 4 KB, inherited by a chain of 30."""
    f = '+'.join(['nozzle.diameter'] * 240) + '>0 mm'
    body = ''.join('- {if: {where: "%s"}, settings: {wall.outer.speed: {add: 1 mm/s}}}\n' % f for _ in range(60))
    return {(Q + 'x%d.yaml' % k): (PROCESS if k == 0 else 'title: X\nextends: x%d\n' % (k - 1)) + 'when:\n' + body for k in range(30)}, 'heron-220+0.4/pla-plain/x29'


@attack
def a_when_flood(seed):
    """4,000 blocks in each of 30 files in a chain; all hold."""
    body, n = fill(lambda i: '- {if: {where: nozzle.diameter>0 mm}, settings: {wall.outer.speed: {add: 0 mm/s}}}\n', 255_000)
    return {(Q + 'x%d.yaml' % k): (PROCESS if k == 0 else 'title: X\nextends: x%d\n' % (k - 1)) + 'when:\n' + body for k in range(30)}, 'heron-220+0.4/pla-plain/x29'


@attack
def a_when_masks(seed):
    """Blocks that hold by the name of each partner: each triple has tables of its own."""
    body, n = fill(lambda i: '- {if: {material: "*%s*", machine: "*%s*"}, settings: {wall.outer.speed: {add: 0 mm/s}}}\n' % (chr(97 + i % 26), chr(97 + i // 26 % 26)), 255_000)
    return {Q + 'x.yaml': PROCESS + 'when:\n' + body}, 'heron-220+0.4/pla-plain/x'


@attack
def a_formula_brackets(seed):
    """Deep and wide formulas in all shapes."""
    shapes = ['(' * 4000, '-' * 4000 + '1', 'not ' * 1000 + 'true', 'min(' * 1000, 'if(true,' * 500, '1' + '^1' * 2000, '1' + '+1' * 2000, '1^' * 2000 + '1', "'" + 'a' * 4000, '1 in ' * 800, 'a.b' * 1300, '1e' + '9' * 4000, '9' * 4090]
    body = ''.join(' - {if: {}, settings: {wall.outer.speed: {calc: "%s"}}}\n' % s for s in shapes * 4)
    return {(Q + 'x%d.yaml' % k): PROCESS + 'when:\n' + body for k in range(30)}, 'heron-220+0.4/pla-plain/x0'


# ---------------------------------------------------------------- reports
@attack
def a_unknown_keys(seed):
    """10,000 unknown settings in each of 30 files: the nearest of each, and its place in the file."""
    out = {}
    for k in range(30):
        body, n = fill(lambda i: 'wall.outer.spe%s: 1\n  ' % name(i), 250_000)
        out[Q + 'x%d.yaml' % k] = PROCESS + 'settings:\n  ' + body.rstrip() + '\n'
    return out, 'heron-220+0.4/pla-plain/x0'


@attack
def a_unknown_keys_long(seed):
    """1,200 unknown settings of 199 letters in each of 30 files."""
    out = {}
    for k in range(30):
        body, n = fill(lambda i: 'wall.%s%06d: 1\n  ' % ('outer_' * 31, i), 250_000)
        out[Q + 'x%d.yaml' % k] = PROCESS + 'settings:\n  ' + body.rstrip() + '\n'
    return out, 'heron-220+0.4/pla-plain/x0'


@attack
def a_reports_one_line(seed):
    """A file of one line with 20,000 errors."""
    out = {}
    for k in range(30):
        body, n = fill(lambda i: '%s: 1,' % name(i), 250_000)
        out[Q + 'x%d.yaml' % k] = PROCESS + 'settings: {' + body[:-1] + '}\n'
    return out, 'heron-220+0.4/pla-plain/x0'


@attack
def a_duplicate_keys(seed):
    """60,000 times one key."""
    out = {}
    for k in range(30):
        body, n = fill(lambda i: 'a: 1\n', 250_000)
        out[Q + 'x%d.yaml' % k] = body
    return out, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_reports_a_profile(seed):
    """A machine and its fittings that break every range: reports for each profile."""
    body = ', '.join('%s: {scale: 100000}' % k for k in speeds())
    fits = ','.join('"%s":{}' % name(i) for i in range(100))
    return {M + 'x.yaml': MACHINE + 'fittings: {%s}\n' % fits, Q + 'x.yaml': PROCESS + 'settings: {%s}\n' % body}, 'x+a/pla-plain/x'


@attack
def a_headers_unknown(seed):
    """Unknown headers."""
    out = {}
    for k in range(30):
        body, n = fill(lambda i: '%s: 1\n' % name(i), 250_000)
        out[Q + 'x%d.yaml' % k] = body
    return out, 'heron-220+0.4/pla-plain/everyday'


# ---------------------------------------------------------------- scripts and macros
@attack
def a_placeholders(seed):
    """28,000 placeholders in one block text: the place of each is counted from its beginning."""
    body, n = fill(lambda i: '    ${pi}\n', 250_000)
    return {M + 'x.yaml': MACHINE + 'scripts:\n  end: |\n' + body}


@attack
def a_placeholders_full(seed):
    """30 such files."""
    body, n = fill(lambda i: '    ${pi}\n', 250_000)
    return {(M + 'x%d.yaml' % k): MACHINE + 'scripts:\n  end: |\n' + body for k in range(30)}, 'x0/pla-plain/everyday'


@attack
def a_placeholders_one_line(seed):
    body, n = fill(lambda i: '${pi}', 250_000)
    return {(M + 'x%d.yaml' % k): MACHINE + 'scripts: {end: "' + body + '"}\n' for k in range(30)}, 'x0/pla-plain/everyday'


@attack
def a_placeholders_wrong(seed):
    """Placeholders that are all wrong, in a block text."""
    body, n = fill(lambda i: '    ${a}@{b}\n', 250_000)
    return {(M + 'x%d.yaml' % k): MACHINE + 'scripts:\n  end: |\n' + body for k in range(30)}, 'x0/pla-plain/everyday'


@attack
def a_scripts_long(seed):
    """Scripts of 60 KB in all four places, of words that no list knows, at 30 machines."""
    body, n = fill(lambda i: '      %s\n' % name(i + 20000).upper().replace('-X', 'QQQ'), 62_000)
    body = body.replace('      ', '    ')
    return {(M + 'x%d.yaml' % k): MACHINE + 'scripts:\n' + ''.join('  %s: |\n%s' % (s, body) for s in ('start', 'layer', 'pause', 'end')) for k in range(30)}, 'x0/pla-plain/everyday'


@attack
def a_scripts_moves(seed):
    """Moves in all four places, at 30 machines."""
    body, n = fill(lambda i: '    G1 X9 F9\n', 62_000)
    return {(M + 'x%d.yaml' % k): MACHINE + 'scripts:\n' + ''.join('  %s: |\n%s' % (s, body) for s in ('start', 'layer', 'pause', 'end')) for k in range(30)}, 'x0/pla-plain/everyday'


@attack
def a_scripts_before_after(seed):
    """Thousands of `before` of scripts: each is put before all others."""
    body, n = fill(lambda i: '- {if: {}, scripts: {end: {before: ";"}}}\n', 255_000)
    return {(M + 'x%d.yaml' % k): (MACHINE if k == 0 else 'title: X\nextends: x%d\n' % (k - 1)) + 'when:\n' + body for k in range(30)}, 'x29/pla-plain/everyday'


@attack
def a_scripts_placeholder_fails(seed):
    """Thousands of `after` whose placeholder fails: a report each, for each profile."""
    body, n = fill(lambda i: '- {if: {}, scripts: {end: {after: "${1/0}"}}}\n', 255_000)
    return {(M + 'x%d.yaml' % k): (MACHINE if k == 0 else 'title: X\nextends: x%d\n' % (k - 1)) + 'when:\n' + body for k in range(30)}, 'x29/pla-plain/everyday'


@attack
def a_macros_flood(seed):
    """20,000 macros in each of 30 files in a chain: gathered for each profile."""
    out = {}
    for k in range(30):
        body, n = fill(lambda i: 'M%s: {},' % name(i + 30000 * k).upper().replace('-X', 'QQQ'), 250_000)
        out[M + 'x%d.yaml' % k] = (MACHINE if k == 0 else 'title: X\nextends: x%d\n' % (k - 1)) + 'macros: {%s}\n' % body[:-1]
    return out, 'x29/pla-plain/everyday'


@attack
def a_macros_nearest(seed):
    """Unknown words in scripts against 20,000 macros."""
    body, n = fill(lambda i: 'M%s: {about: x},' % name(i).upper().replace('-X', 'QQQ'), 180_000)
    script, _ = fill(lambda i: '    NO%s\n' % name(i).upper().replace('-X', 'QQQ'), 60_000)
    return {M + 'x.yaml': MACHINE + 'macros: {%s}\n' % body[:-1] + 'scripts:\n  start: |\n' + script}


# ---------------------------------------------------------------- plan, policy, dictionary, notes, ledger, trials
@attack
def a_plan_takes(seed):
    """A plan that takes everything 20,000 times."""
    body, n = fill(lambda i: '{},', 250_000)
    return {'release/plan.yaml': 'sets: {s: {tier: supporter, take: [%s]}}\n' % body[:-1]}, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_plan_sets(seed):
    """A plan of thousands of sets that take everything."""
    body, n = fill(lambda i: '%s: {take: [{}]},' % name(i), 250_000)
    return {'release/plan.yaml': 'sets: {%s}\n' % body[:-1]}, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_plan_leaves(seed):
    """A plan that leaves out thousands of things."""
    body, n = fill(lambda i: '{machine: %s},' % name(i), 250_000)
    return {'release/plan.yaml': 'sets: {s: {take: [{}], leave: [%s]}}\n' % body[:-1]}, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_schema_flood(seed):
    """A dictionary of 60,000 settings."""
    out = {}
    for k in range(30):
        body, n = fill(lambda i: '  k%s.b%d: {title: a, about: a, kinds: [process], type: flag, default: true, source: common practice}\n' % (name(i).replace('-', ''), k), 250_000)
        out['schema/x%d.yaml' % k] = 'settings:\n' + body
    return out, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_schema_rules(seed):
    """Thousands of rules that fail in each profile."""
    out = {}
    for k in range(30):
        body, n = fill(lambda i: '  r%d-%s: {assert: "1 > 2", severity: warning, say: a, source: common practice}\n' % (k, name(i)), 250_000)
        out['schema/x%d.yaml' % k] = 'rules:\n' + body
    return out, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_schema_defaults(seed):
    """A chain of defaults, each read from the next; 2,000 long."""
    body = ''.join('  c.a%d: {title: a, about: a, kinds: [process], unit: mm, default: {calc: c.a%d + c.a%d}, source: common practice}\n' % (i, i + 1, min(i + 2, 1999)) for i in range(1999))
    body += '  c.a1999: {title: a, about: a, kinds: [process], unit: mm, default: 1 mm, source: common practice}\n'
    return {'schema/x.yaml': 'settings:\n' + body}, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_schema_codes(seed):
    """A dictionary of thousands of codes with alternatives."""
    body, n = fill(lambda i: '    - {title: a, where: bed.heated, trust: ordinary, reason: a}\n', 250_000)
    return {'schema/x.yaml': 'codes:\n  G9991:\n' + body}, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_notes(seed):
    """1,900 notes of 4 KB."""
    return {'release/notes/x%d.yaml' % i: 'section: Added\ntier: free\ntext: %s\n' % ('word ' * 800) for i in range(1900)}, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_ledger(seed):
    """A ledger of thousands of versions."""
    old = open(os.path.join(OPTIONS.tree, 'release/ledger.yaml')).read()
    return {'release/ledger.yaml': old + ''.join('# %d\n' % i for i in range(30000))}, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_trials(seed):
    """1,900 trials, and a policy of thousands of globs."""
    out = {'profiles-src/trial/x%d.yaml' % i: 'profile: heron-220+0.4/pla-plain/everyday\n' for i in range(1900)}
    return out, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_policy(seed):
    """A policy of thousands of globs."""
    body, n = fill(lambda i: '"*a*%s*",' % name(i), 240_000)
    return {'profiles-src/bindery.yaml': 'publisher: a\nlicence: a\npolicy: {paths: [%s], may_not_write: [%s]}\n' % (body[:120000].rsplit(',', 1)[0], body[:110000].rsplit(',', 1)[0])}, 'heron-220+0.4/pla-plain/everyday'


# ---------------------------------------------------------------- two commits
@attack
def a_blocks_equal(seed):
    """15,000 empty blocks, one more in the second commit: a table of the product."""
    body, n = fill(lambda i: '- if: {}\n', 250_000)
    return [{Q + 'x.yaml': PROCESS + 'when:\n' + body}, {Q + 'x.yaml': PROCESS + 'when:\n' + body + '- if: {process: x}\n'}], 'heron-220+0.4/pla-plain/x'


@attack
def a_blocks_reversed(seed):
    """5,000 blocks in the opposite order."""
    blocks = ['- {if: {process: "x*%s"}}\n' % ('*' * (i % 60) + 'y' * (i // 60)) for i in range(5000)]
    blocks = ['- {if: {where: nozzle.diameter > %d mm}}\n' % i for i in range(5000)]
    return [{Q + 'x.yaml': PROCESS + 'when:\n' + ''.join(blocks)}, {Q + 'x.yaml': PROCESS + 'when:\n' + ''.join(reversed(blocks))}], 'heron-220+0.4/pla-plain/x'


@attack
def a_trial_blocks(seed):
    """2,000 blocks that add to one setting, all edited: each is a suspect."""
    def t(v):
        return PROCESS + 'when:\n' + ''.join('- {if: {where: nozzle.diameter > %d um}, settings: {wall.outer.speed: {add: %s mm/s}}}\n' % (i % 300, v) for i in range(2000))
    return [{Q + 'x.yaml': t('0.001')}, {Q + 'x.yaml': t('0.002')}], 'heron-220+0.4/pla-plain/x'


@attack
def a_trial_chain(seed):
    """1,500 files in a chain, each of which adds to three settings, all edited."""
    def t(v):
        out = {Q + 'x0.yaml': PROCESS}
        for i in range(1, 1500):
            out[Q + 'x%d.yaml' % i] = 'extends: x%d\nabstract: %s\nsettings: {wall.outer.speed: {add: %s mm/s}, wall.inner.speed: {add: %s mm/s}}\n' % (i - 1, 'false' if i == 1499 else 'true', v, v)
        return out
    return [t('0.001'), t('0.002')], 'heron-220+0.4/pla-plain/x1499'


@attack
def a_trial_limits(seed):
    """1,000 limits that bind one speed, all edited."""
    words = ['s', 'p', 'e', 'd', 'sp', 'pe', 'ee', 'ed', 'spe', 'pee', 'eed', 'spee', 'peed', 'speed', '.s', '.sp', '.spe', '.spee', '.speed']
    def t(v):
        return MACHINE + 'limits:\n' + ''.join('  "%s": {at_most: %d mm/s}\n' % ('*' * (1 + i // 19) + words[i % 19] + '*', 20 + v + i % 7) for i in range(1000))
    return [{M + 'x.yaml': t(0)}, {M + 'x.yaml': t(1)}]


@attack
def a_conditions_copied(seed):
    """A block with a condition of 120 KB and thousands of limits: the condition is copied with each edit."""
    names, n = fill(lambda i: '"*%s",' % name(i), 110_000)
    words = ['s', 'p', 'e', 'd', 'sp', 'pe', 'ee', 'ed', 'spe', 'pee', 'eed', 'spee', 'peed', 'speed', '.s', '.sp', '.spe', '.spee', '.speed']
    def t(v):
        pats, n = fill(lambda i: '"%s": {at_most: 9%d m/s},' % ('*' * (1 + i // 19) + words[i % 19] + '*', v), 130_000)
        return MACHINE + 'when: [{if: {process: [%s "*"]}, limits: {%s}}]\n' % (names, pats[:-1])
    return [{M + 'x.yaml': t(1)}, {M + 'x.yaml': t(2)}]


@attack
def a_scripts_edited(seed):
    """500 blocks that add to a script, all edited."""
    def t(v):
        return MACHINE + 'when:\n' + ''.join('- {if: {where: nozzle.diameter > %d um}, scripts: {end: {after: "; %d %s"}}}\n' % (i, i, v) for i in range(2000))
    return [{M + 'x.yaml': t('a')}, {M + 'x.yaml': t('b')}]


@attack
def a_script_lines(seed):
    """A script of 30,000 lines, all edited, at 30 machines."""
    def t(v):
        return MACHINE + 'scripts:\n  end: |\n' + ''.join('    ;%s%d\n' % (v, i) for i in range(6000))
    return [{M + 'x%d.yaml' % k: t('a') for k in range(30)}, {M + 'x%d.yaml' % k: t('b') for k in range(30)}], 'x0/pla-plain/everyday'


@attack
def a_renames(seed):
    """All files renamed, claimed by `replaces`."""
    fits = ','.join('"%s":{}' % name(i) for i in range(150))
    a = {M + 'x.yaml': MACHINE + 'fittings: {%s}\n' % fits}
    b = {M + 'z.yaml': MACHINE + 'replaces: x\nfittings: {%s}\n' % fits, M + 'x.yaml': None}
    return [a, b], 'z+a/pla-plain/everyday'


@attack
def a_renames_full(seed):
    fits, n = fill(lambda i: '"%s":{},' % name(i), 20_000)
    a = {M + 'x.yaml': MACHINE + 'fittings: {%s}\n' % fits[:-1]}
    b = {M + 'z.yaml': MACHINE + 'replaces: x\nfittings: {%s}\n' % fits[:-1], M + 'x.yaml': None}
    return [a, b], 'z+a/pla-plain/everyday'


# ---------------------------------------------------------------- YAML
def yaml_attack(label, text, files=30):
    def f(seed):
        t = text() if callable(text) else text
        if isinstance(t, str):
            t = t.encode()
        return {(Q + 'x%d.yaml' % k): t[:FILE] for k in range(files)}, 'heron-220+0.4/pla-plain/everyday'
    f.__name__ = 'a_yaml_' + label
    f.__doc__ = 'YAML: ' + label
    attack(f)


for label, text in {
    'alias_bomb': 'a: &a [x,x,x,x,x,x,x,x,x]\n' + ''.join('%s: &%s [%s]\n' % (chr(98 + i), chr(98 + i), ','.join(['*' + chr(97 + i)] * 9)) for i in range(20)),
    'flow_lists': '[' * 255_000,
    'flow_maps': '{' * 255_000,
    'flow_mixed': '{a: [' * 51_000,
    'flow_closed': 'a: ' + '[' * 100_000 + ']' * 100_000,
    'compact_lists': '- ' * 127_000 + 'a\n',
    'question_marks': '? ' * 127_000 + 'a\n',
    'colons': 'a: ' * 80_000,
    'colons_only': ':' * 255_000,
    'commas': '[' + ',' * 255_000,
    'flow_keys': '{' + 'a,' * 127_000 + '}',
    'flow_long_line': '{a: [' + 'a, ' * 80_000 + ']}',
    'flow_pairs': '[' + 'a: b, ' * 42_000 + ']',
    'long_key': 'a' * 255_000 + ': 1\n',
    'long_plain': 'a: ' + 'b ' * 127_000 + '\n',
    'long_double': 'a: "' + 'b ' * 127_000 + '"\n',
    'long_single': "a: '" + "''" * 127_000 + "'\n",
    'long_escapes': 'a: "' + '\\u0061' * 42_000 + '"\n',
    'unclosed': 'a: "' + 'b' * 255_000,
    'unclosed_many': ("a: 'b\n" * 42_000),
    'plain_lines': 'a:\n' + '  b\n' * 63_000,
    'plain_blank_lines': 'a: b\n' + '\n' * 250_000 + '  c\n',
    'block_lines': 'a: |\n' + '  b\n' * 63_000,
    'block_blank': 'a: |\n' + '\n' * 250_000 + '  c\n',
    'folded': 'a: >\n' + '  b\n' * 63_000,
    'folded_blank': 'a: >\n' + '  b\n\n' * 50_000,
    'comments': '# c\n' * 63_000 + 'a: 1\n',
    'comment_long': '#' * 255_000 + '\na: 1\n',
    'comments_inside': 'a:\n' + ' # c\n' * 50_000 + '  b: 1\n',
    'documents': '---\n' * 63_000,
    'documents_end': 'a: 1\n' + '...\n' * 60_000,
    'directives': '%A\n' * 80_000,
    'directives_tag': ''.join('%%TAG !%d! a\n' % i for i in range(15_000)) + '---\na: 1\n',
    'tags': 'a: ' + '!' * 250_000 + '\n',
    'anchors': 'a: ' + '&a ' * 80_000 + '\n',
    'indents': ''.join(' ' * i + 'a:\n' for i in range(700)),
    'indents_list': ''.join(' ' * i + '-\n' for i in range(700)),
    'dedents': ''.join(' ' * i + 'a:\n' for i in range(30)) * 500,
    'tabs': '\t' * 255_000,
    'tabs_lines': 'a: 1\n\tb: 1\n' * 20_000,
    'crlf': 'title: x\r\n' + 'a: 1\r\n' * 40_000,
    'cr': 'a: 1\r' * 50_000,
    'nul': 'a: 1\n' + '\0' * 200_000,
    'utf16': 'a: 1\n'.encode('utf-16') * 20_000,
    'bom': b'\xef\xbb\xbf' + b'a: 1\n',
    'invalid_utf8': b'a: ' + b'\xff' * 200_000,
    'surrogates': b'a: ' + b'\xed\xa0\x80' * 60_000,
    'wide_utf8': ('a: ' + '\U0001F600' * 60_000 + '\n').encode(),
    'line_separators': ('a: "' + '\u2028' * 60_000 + '"\n').encode(),
    'next_lines': ('a: "' + '\u0085' * 60_000 + '"\n').encode(),
    'many_keys': ''.join('%s: 1\n' % i for i in range(25_000)),
    'many_null': ''.join('a%d:\n' % i for i in range(25_000)),
    'question_keys': ''.join('? a%d\n: 1\n' % i for i in range(20_000)),
    'quoted_keys': ''.join('"a%d": 1\n' % i for i in range(20_000)),
    'nested_dotted': 'settings:\n' + ''.join(' ' * (i + 1) + 'a.' * 300 + 'b:\n' for i in range(30)) + ' ' * 32 + 'c: 1\n',
    'nested_prefix': 'settings: {' + '%s: {' % ('a' * 8000) * 25 + ','.join('b%d: 1' % i for i in range(4000)) + '}' * 26 + '\n',
    'hash_keys': ''.join('k%d: 1\n' % (i * 1056323) for i in range(15_000)),
}.items():
    yaml_attack(label, text)



# ---------------------------------------------------------------- second round
WORDS = ['s', 'p', 'e', 'd', 'sp', 'pe', 'ee', 'ed', 'spe', 'pee', 'eed', 'spee', 'peed', 'speed', '.s', '.sp', '.spe', '.spee', '.speed']


def speed_glob(i, tail='*'):
    """Globs without end that match all speeds."""
    return '*' * (1 + i // 19) + WORDS[i % 19] + tail


@attack
def a_among_times_items(seed):
    """3,000 `among` on a list of 40,000 words."""
    items = 'a,' * 60_000
    pats = ''.join('  "%s": {among: [a]}\n' % ('*' * (1 + i // 6) + ['s', 't', 'e', 'p', 'st', 'te'][i % 6] + '*') for i in range(700))
    return {M + 'x.yaml': MACHINE + 'settings: {operator.steps: [%s]}\nlimits:\n' % items[:-1] + pats}


@attack
def a_rs274_parameters(seed):
    """A machine that reads rs274: thousands of parameters, copied for each line after a stop."""
    body = ''.join('    #%d=1\n' % (i + 1) for i in range(2800)) + '    M2\n' + '    #1=2\n' * 2500
    return {M + 'x.yaml': MACHINE + 'settings: {firmware.grammar: rs274}\nscripts:\n' + ''.join('  %s: |\n%s' % (s, body) for s in ('start', 'layer', 'pause', 'end'))}


@attack
def a_rs274_lines(seed):
    """A machine that reads rs274: expressions in brackets as deep as a line is long."""
    body = ''.join('    G1 X%s1%s\n' % ('[' * 120, ']' * 120) for i in range(240))
    return {M + 'x.yaml': MACHINE + 'settings: {firmware.grammar: rs274}\nscripts:\n' + ''.join('  %s: |\n%s' % (s, body) for s in ('start', 'layer', 'pause', 'end'))}


@attack
def a_gcode_long_lines(seed):
    """Lines of 60 KB: words, comments, stars, brackets."""
    lines = ['G1 ' + 'X1' * 30_000, 'G1 X1 ;' + 'a' * 60_000, '(' * 60_000, 'G1' * 30_000, 'N1 G1 X1*' * 6000, 'M117 ' + 'a' * 60_000, 'G1 X' + '9' * 60_000, 'G1 X1e' + '9' * 50_000, 'G' + '9' * 60_000, 'T' + '9' * 60_000, 'G1 X-' * 12_000]
    out = {}
    for k, line in enumerate(lines):
        out[M + 'x%d.yaml' % k] = MACHINE + 'scripts:\n  start: |\n    %s\n  end: |\n    %s\n' % (line, line)
        out[M + 'y%d.yaml' % k] = MACHINE + 'settings: {firmware.grammar: rs274}\nscripts:\n  start: |\n    %s\n  end: |\n    %s\n' % (line, line)
    return out, 'x0/pla-plain/everyday'


@attack
def a_gcode_random(seed):
    """Random machine code, in both grammars."""
    r = random.Random(seed)
    out = {}
    for k in range(60):
        def line():
            kind = r.random()
            if kind < 0.5: return ' '.join(r.choice('GMTXYZEFSPRIJKNOABCUVW') + r.choice(['1', '0', '28', '92', '-1', '1e9', '', '.', '1.5', '9' * 20, '0x1', '104', '109', '38.2']) for _ in range(r.randrange(1, 6)))
            if kind < 0.7: return ''.join(chr(r.randrange(33, 127)) for _ in range(r.randrange(1, 50))).replace('$', 'S').replace('@', 'A')
            if kind < 0.8: return '#%d=[%s]' % (r.randrange(6000), r.choice(['1/0', '#5', 'sqrt[-1]', '1**999', 'atan[1]/[0]', '[[[1]]]', '1 mod 0', 'exp[9999]', 'fix[1e300]']))
            return r.choice(['G28', 'G1 X10 Y10 F600', 'M104 S200', 'G91', 'G1 Z-400 F1', 'G2 X1 Y1 I0 J0', 'G2 X1 Y1 R0', 'G3 I1e300 J1e300', 'M2', 'M84', 'G20', 'G92 X1e308', 'G18', 'G0 Z1e308'])
        def script():
            return ''.join('    %s\n' % line() for _ in range(500))
        out[M + 'x%d.yaml' % k] = MACHINE + ('settings: {firmware.grammar: rs274}\n' if k % 2 else '') + 'scripts:\n' + ''.join('  %s: |\n%s' % (s, script()) for s in ('start', 'layer', 'pause', 'end'))
    return out, 'x0/pla-plain/everyday'


@attack
def a_numbers(seed):
    """Numbers of 250 KB, and at the ends of what a double holds."""
    out = {}
    for k, n in enumerate(['9' * 250_000, '0.' + '0' * 250_000 + '1 mm/s', '1e' + '9' * 250_000, '-' * 250_000, '1 ' + 'm' * 250_000, '1 mm' + '*mm' * 80_000, '1e308 mm/s', '1e-320 mm/s', '-0 mm/s', 'nan', 'inf mm/s', '1 m^99', '1 m^-99', '1 lightyear/fs', '1e300 lightyear/ys', '0x10 mm/s', '1_000 mm/s']):
        out[Q + 'x%d.yaml' % k] = PROCESS + 'settings: {wall.outer.speed: "%s"}\n' % n
    out[Q + 'z.yaml'] = PROCESS + 'settings: {wall.outer.speed: {scale: 1e308}, wall.inner.speed: {add: 1e308 mm/s}, travel.speed: {calc: "1e308 mm/s * 1e308"}}\n'
    return out, 'heron-220+0.4/pla-plain/z'


@attack
def a_fits_where_chain(seed):
    """1,900 processes in a chain, each with a `fits` of 2 KB: asked for each triple."""
    f = '+'.join(['nozzle.diameter'] * 120) + '>0 mm'
    out = {Q + 'x0.yaml': PROCESS}
    for i in range(1, 1900):
        out[Q + 'x%d.yaml' % i] = 'extends: x%d\nfits: {where: "%s"}\n' % (i - 1, f)
    return out, 'heron-220+0.4/pla-plain/x1899'


@attack
def a_fits_where_small(seed):
    """200 processes in a chain, each with such a `fits`: 400 KB."""
    f = '+'.join(['nozzle.diameter'] * 120) + '>0 mm'
    out = {Q + 'x0.yaml': PROCESS}
    for i in range(1, 200):
        out[Q + 'x%d.yaml' % i] = 'extends: x%d\nfits: {where: "%s"}\n' % (i - 1, f)
    return out, 'heron-220+0.4/pla-plain/x199'


@attack
def a_profiles_20000(seed):
    """19,000 profiles that a contribution may reach, each with 800 formula operations and a story of 300 steps."""
    keys = speeds()
    body = 'settings: {%s}\n' % ', '.join('%s: {calc: "inherited + 0 mm/s + 0 mm/s + 0 mm/s"}' % k for k in keys)
    fits = ','.join('"%s":{}' % name(i) for i in range(35))
    return {Q + 'x.yaml': PROCESS + body + 'fittings: {%s}\n' % fits}, 'heron-220+0.4/pla-plain/x+a'


@attack
def a_profiles_warn(seed):
    """20,000 profiles with a hundred warnings each."""
    keys = speeds()
    fits = ','.join('"%s":{settings: {%s}}' % (name(i), ', '.join('%s: 1 mm/s' % k for k in keys)) for i in range(35))
    return {Q + 'x.yaml': PROCESS + 'fittings: {%s}\n' % fits}, 'heron-220+0.4/pla-plain/x+a'


@attack
def a_authors(seed):
    """30 files with 40,000 authors each."""
    out = {}
    for k in range(30):
        body, n = fill(lambda i: name(i + 40000 * k) + ',', 250_000)
        out[Q + 'x%d.yaml' % k] = 'title: X\nextends: everyday\nauthors: [%s]\n' % body[:-1]
    return out, 'heron-220+0.4/pla-plain/x0'


@attack
def a_edit_speeds(seed):
    """All speeds of 60 processes edited: an honest big change."""
    def t(v):
        return {Q + 'x%d.yaml' % i: PROCESS + 'settings: {%s}\n' % ', '.join('%s: {scale: %s}' % (k, v) for k in speeds()) for i in range(20)}
    return [t('0.9'), t('0.8')], 'heron-220+0.4/pla-plain/x0'


@attack
def a_edit_when_few(seed):
    """40 blocks that add to each of 10 settings, all edited."""
    keys = speeds()[:10]
    def t(v):
        return PROCESS + 'when:\n' + ''.join('- {if: {where: nozzle.diameter > %d um}, settings: {%s}}\n' % (i, ', '.join('%s: {add: %s mm/s}' % (k, v) for k in keys)) for i in range(40))
    return [{Q + 'x.yaml': t('0.001')}, {Q + 'x.yaml': t('0.002')}], 'heron-220+0.4/pla-plain/x'


@attack
def a_trial_64(seed):
    """The same at 64 blocks of one setting."""
    def t(v):
        return PROCESS + 'when:\n' + ''.join('- {if: {where: nozzle.diameter > %d um}, settings: {wall.outer.speed: {add: %s mm/s}}}\n' % (i, v) for i in range(64))
    return [{Q + 'x.yaml': t('0.001')}, {Q + 'x.yaml': t('0.002')}], 'heron-220+0.4/pla-plain/x'


@attack
def a_trial_256(seed):
    """The same at 256 blocks of one setting."""
    def t(v):
        return PROCESS + 'when:\n' + ''.join('- {if: {where: nozzle.diameter > %d um}, settings: {wall.outer.speed: {add: %s mm/s}}}\n' % (i, v) for i in range(256))
    return [{Q + 'x.yaml': t('0.001')}, {Q + 'x.yaml': t('0.002')}], 'heron-220+0.4/pla-plain/x'


@attack
def a_trial_inputs(seed):
    """One fact and one setting that all others are computed from, edited below 40 blocks."""
    keys = speeds()
    def t(v):
        return PROCESS + 'settings: {travel.speed: %d mm/s, %s}\n' % (v, ', '.join('%s: {calc: "%s"}' % (k, ' + '.join(['travel.speed / 60'] * 20)) for k in keys if k != 'travel.speed'))
    return [{Q + 'x.yaml': t(150)}, {Q + 'x.yaml': t(160)}], 'heron-220+0.4/pla-plain/x'


@attack
def a_reports_long_line_where(seed):
    """One file of one line: 9,000 conditions that fail in each profile."""
    body, n = fill(lambda i: '{if: {where: 1/0>0}},', 255_000)
    return {M + 'x.yaml': MACHINE + 'when: [' + body[:-1] + ']\n'}


@attack
def a_paths(seed):
    """1,900 files with names of 250 letters."""
    return {Q + 'a' * 230 + '%d.yaml' % i: 'title: X\nabstract: true\n' for i in range(1900)}, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_folders(seed):
    """Folders 120 deep."""
    return {Q + 'a/' * 120 + 'x%d.yaml' % i: PROCESS + 'abstract: true\n' for i in range(1000)}, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_strays(seed):
    """1,900 files that are none of the tree's."""
    return {Q + 'x%d.yml' % i: 'a' for i in range(1900)}, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_not_parsed(seed):
    """Files that cannot be read, beside thousands of names that match nothing."""
    out = {Q + 'b%d.yaml' % i: '[' for i in range(900)}
    for k in range(5):
        pats, _ = fill(lambda i: 'v%d%s,' % (k, name(i)), 240_000)
        out[Q + 'x%d.yaml' % k] = PROCESS + 'when: [{if: {process: [%s]}}]\n' % pats[:-1]
    return out, 'heron-220+0.4/pla-plain/x0'


@attack
def a_schema_list(seed):
    """A list of numbers of 60,000 items under 700 limits with formulas."""
    pats = ''.join('  "%s": {at_most: {calc: "9 m + 1 mm"}}\n' % ('*' * (1 + i // 5) + ['h', 'e', 'i', 'g', 't'][i % 5] + '*') for i in range(700))
    return {'schema/x.yaml': 'settings:\n  x.heights: {title: a, about: a, kinds: [machine], unit: mm, list: true, default: none, reason: a, source: common practice}\n',
            M + 'x.yaml': MACHINE + 'settings: {x.heights: [%s]}\n' % ','.join(['1 mm'] * 30_000) + 'limits:\n' + pats}


@attack
def a_text_in_scripts(seed):
    """A text of 60 KB put into scripts by thousands of blocks."""
    body, n = fill(lambda i: '- {if: {}, scripts: {end: {after: ";${material.colour}"}}}\n', 180_000)
    return {P + 'x.yaml': MATERIAL + 'settings: {material.colour: "%s"}\n' % ('c' * 65_000) + 'when:\n' + body}, 'heron-220+0.4/x/everyday'


@attack
def a_scripts_64(seed):
    """Scripts of 64 KB in four places of a machine, over all its profiles: what is kept and written."""
    body = '    ; aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa\n' * 700
    fits = ','.join('"%s":{}' % name(i) for i in range(60))
    return {M + 'x.yaml': MACHINE + 'scripts:\n' + ''.join('  %s: |\n%s' % (s, body) for s in ('start', 'layer', 'pause', 'end')) + 'fittings: {%s}\n' % fits}, 'x+a/pla-plain/everyday'


@attack
def a_policy_macros(seed):
    """Hundreds of parents of each fragment, with hundreds of macros each."""
    body = ','.join('M%s: {about: x, positioned: {x: {calc: "build.x / 2"}}}' % name(i).upper().replace('-X', 'QQQ') for i in range(2000))
    out = {M + 'x.yaml': MACHINE + 'macros: {%s}\n' % body}
    return out


@attack
def a_roles_codes_words(seed):
    """A dictionary whose code G1 has bounds with formulas of 4 KB, and scripts of thousands of G1."""
    return {'schema/x.yaml': 'codes:\n  G999: {title: a, trust: checked, reason: a, words: {%s}}\n' % ', '.join('%s: {unit: mm, at_most: {calc: "%s"}}' % (c, ' + '.join(['build.x'] * 250)) for c in 'XYZEFIJKPRS'),
            M + 'x.yaml': MACHINE + 'scripts:\n' + ''.join('  %s: |\n%s' % (s, '    G999 X1 Y1 Z1 E1 F1 I1 J1 K1 P1 R1 S1\n' * 1500) for s in ('start', 'layer', 'pause', 'end'))}



@attack
def a_key_prefix(seed):
    """25 keys of 1,000 letters inside each other, and 25,000 keys in the innermost: each is written out."""
    leaves, n = fill(lambda i: 'k%s: 1, ' % name(i), 220_000)
    return {Q + 'x.yaml': 'settings: ' + ''.join('{%s: ' % ('a' * 1000) for _ in range(25)) + '{' + leaves[:-2] + '}' + '}' * 25 + '\n'}, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_key_prefix_long(seed):
    """One explicit key of 120 KB, with 15,000 keys in it."""
    leaves, n = fill(lambda i: '  k%s: 1\n' % name(i), 120_000)
    return {Q + 'x.yaml': 'settings:\n ? ' + 'a' * 120_000 + '\n :\n' + leaves}, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_one_file_headers(seed):
    """One file with 30,000 unknown headers."""
    body, n = fill(lambda i: '%s: 1\n' % name(i), 250_000)
    return {Q + 'x.yaml': body}, 'heron-220+0.4/pla-plain/everyday'


@attack
def a_one_file_keys(seed):
    """One file with 12,000 unknown settings."""
    body, n = fill(lambda i: 'wall.outer.spe%s: 1\n  ' % name(i), 250_000)
    return {Q + 'x.yaml': PROCESS + 'settings:\n  ' + body.rstrip() + '\n'}, 'heron-220+0.4/pla-plain/x'


@attack
def a_one_line_reports(seed):
    """One file of one line with 25,000 errors."""
    body, n = fill(lambda i: '%s: 1,' % name(i), 250_000)
    return {Q + 'x.yaml': PROCESS + 'settings: {' + body[:-1] + '}\n'}, 'heron-220+0.4/pla-plain/x'



@attack
def a_when_flood_one(seed):
    """4,000 blocks in each of 30 files in a chain; the last alone is no abstract one."""
    body, n = fill(lambda i: '- {if: {}, settings: {wall.outer.speed: {add: 0 mm/s}}}\n', 255_000)
    return {(Q + 'x%d.yaml' % k): ('abstract: true\nextends: everyday\n' if k == 0 else 'title: X\nabstract: %s\nextends: x%d\n' % ('false' if k == 29 else 'true', k - 1)) + 'when:\n' + body for k in range(30)}, 'heron-220+0.4/pla-plain/x29'


@attack
def a_limits_inherited_one(seed):
    """The same with limits: 5 files of 3,000 patterns."""
    out = {}
    for k in range(5):
        pats, n = fill(lambda i: '"%s": {at_most: 9000 mm/s}\n  ' % ('*' * (1 + i // 19) + WORDS[i % 19] + '*' * (k + 1)), 240_000)
        out[M + 'x%d.yaml' % k] = ('abstract: true\nextends: heron-220+0.4\n' if k == 0 else 'title: X\nabstract: %s\nextends: x%d\n' % ('false' if k == 4 else 'true', k - 1)) + 'limits:\n  ' + pats.rstrip() + '\n'
    return out, 'x4/pla-plain/everyday'


@attack
def a_when_names(seed):
    """5,000 blocks whose names are globs of many stars against long names."""
    glob = '*a' * 60 + '*b'
    body, n = fill(lambda i: '- {if: {machine: "%s"}, settings: {wall.outer.speed: {add: 0 mm/s}}}\n' % glob, 250_000)
    return {M + 'a' * 240 + '.yaml': MACHINE, Q + 'x.yaml': PROCESS + 'when:\n' + body}, 'a' * 240 + '/pla-plain/x'


@attack
def a_long_glob_one(seed):
    """One glob of 120 KB of stars and letters against a name of 120 KB."""
    return {M + 'x.yaml': MACHINE + 'fits: {machine: ["%s", "*"]}\nfittings:\n  ? %s\n  : {}\n' % ('*' + 'a' * 60_000 + 'b', 'a' * 120_000)}


@attack
def a_dictionary_flood(seed):
    """50,400 settings more in every profile, and globs that bind them all."""
    out = {'schema/z%d.yaml' % f: 'settings:\n' + ''.join('  f%d.k%d: { kinds: [process], unit: mm, default: 1 mm }\n' % (f, i) for i in range(4200)) for f in range(12)}
    limits = 'limits:\n' + ''.join('  "*%s": { at_most: 100000 mm }\n' % ('*' * i) for i in range(250))
    return {**out, **{M + 'x%d.yaml' % k: MACHINE + limits for k in range(20)}}


@attack
def a_long_glob_keys(seed):
    """400 patterns of a hundred to five hundred letters under `locked`."""
    g = '*' + '*'.join(['e'] * 50)
    return {M + 'x.yaml': MACHINE + 'locked: [%s]\n' % ','.join('"%s%s"' % (g, '*' * i) for i in range(400))}


# ---------------------------------------------------------------- the harness
def measure(command, cwd, out_dir, timeout=60):
    """Seconds, MB, exit code (negative: signal; None: timed out), bytes printed, last lines."""
    out = os.path.join(out_dir, 'out')
    with open(out, 'wb') as sink:
        def limits():
            resource.setrlimit(resource.RLIMIT_AS, (6_000_000 * 1024, 6_000_000 * 1024))
            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            resource.setrlimit(resource.RLIMIT_FSIZE, (2 << 30, 2 << 30))
            os.nice(10)
        start = time.monotonic()
        process = subprocess.Popen(command, cwd=cwd, stdout=sink, stderr=subprocess.STDOUT, preexec_fn=limits)
        timed_out = False
        while True:
            pid, status, usage = os.wait4(process.pid, os.WNOHANG)
            if pid:
                break
            if time.monotonic() - start > timeout:
                timed_out = True
                process.kill()
                pid, status, usage = os.wait4(process.pid, 0)
                break
            time.sleep(0.02)
        process.returncode = 0
        seconds = time.monotonic() - start
    code = -os.WTERMSIG(status) if os.WIFSIGNALED(status) else os.WEXITSTATUS(status)
    size = os.path.getsize(out)
    with open(out, 'rb') as f:
        f.seek(max(0, size - 400))
        tail = f.read().decode('utf-8', 'replace')
    cpu = usage.ru_utime + usage.ru_stime
    return dict(seconds=seconds, cpu=cpu, mb=usage.ru_maxrss / 1024, code=None if timed_out else code, printed=size, tail=tail)


def verdict(r):
    words = []
    if r['code'] is None: words.append('TIME')
    elif r['code'] < 0 or r['code'] == 3: words.append('CRASH')
    elif r['seconds'] > 2 and r['cpu'] > 1: words.append('SLOW')
    if r['mb'] > 300: words.append('BIG')
    if r['printed'] > 50e6: words.append('OUT')
    return '+'.join(words) or 'ok'


def git(cwd, *words):
    subprocess.run(['git', '-c', 'user.name=a', '-c', 'user.email=a@example.org', '-c', 'gc.auto=0', *words], cwd=cwd, check=True,
                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def write(root, files):
    for path, text in files.items():
        full = os.path.join(root, path)
        if text is None:
            if os.path.exists(full): os.remove(full)
            continue
        os.makedirs(os.path.dirname(full), exist_ok=True)
        data = text if isinstance(text, bytes) else text.encode()
        assert len(data) <= FILE, (path, len(data))
        with open(full, 'wb') as f:
            f.write(data)
    present = {p: t for p, t in files.items() if t is not None}
    total = sum(len(t if isinstance(t, bytes) else t.encode()) for t in present.values())
    assert total <= TOTAL and len(present) <= FILES, (total, len(present))


def main():
    global OPTIONS
    a = argparse.ArgumentParser()
    a.add_argument('--only', default='')
    a.add_argument('--skip', default='')
    a.add_argument('--commands', default='validate,overlay,show,changelog,build')
    a.add_argument('--program', default=os.path.join(ROOT, 'build/release/bindery'))
    a.add_argument('--tree', default=ROOT)
    a.add_argument('--keep')
    a.add_argument('--json')
    a.add_argument('--list', action='store_true')
    a.add_argument('--store', help='lines of JSON: what stands there is not run again, what is new is added')
    a.add_argument('--until', type=float, default=1e9, help='start no command after so many seconds')
    a.add_argument('--timeout', type=float, default=60)
    a.add_argument('--seed', type=int, default=1)
    OPTIONS = a.parse_args()
    OPTIONS.program = os.path.abspath(OPTIONS.program)
    only = [x for x in OPTIONS.only.split(',') if x]
    skip = [x for x in OPTIONS.skip.split(',') if x]
    chosen = [(n, f) for n, f in ATTACKS if (not only or any(n == o or (o.endswith('*') and n.startswith(o[:-1])) for o in only)) and n not in skip]
    if OPTIONS.list:
        for n, f in chosen: print('%-28s %s' % (n, (f.__doc__ or '').split('\n')[0]))
        return
    scratch = tempfile.mkdtemp(prefix='hostile-')
    base = os.path.join(scratch, 'base')
    os.mkdir(base)
    for part in ('profiles-src', 'schema', 'release'):
        shutil.copytree(os.path.join(OPTIONS.tree, part), os.path.join(base, part))
    git(base, 'init', '-q', '-b', 'main')
    git(base, 'add', '-A')
    git(base, 'commit', '-q', '-m', 'base')
    KEYS.extend(s['key'] for s in json.loads(subprocess.run([OPTIONS.program, '-C', base, 'list', 'settings', '--format', 'json'], capture_output=True, check=True).stdout)
                if 'process' in s['kinds'])
    print('%-28s %-10s %8s %8s %8s %5s %9s  %s' % ('attack', 'command', 'seconds', 'cpu', 'MB', 'exit', 'KB out', 'verdict'))
    commands = OPTIONS.commands.split(',')
    results = []
    done = set()
    if OPTIONS.store and os.path.exists(OPTIONS.store):
        done = {(r['attack'], r['command']) for r in map(json.loads, open(OPTIONS.store))}
    begun = time.monotonic()
    for n, f in chosen:
      if all((n, c) in done for c in commands): continue
      if time.monotonic() - begun > OPTIONS.until: break
      try:
        got = f(OPTIONS.seed)
        files, profile = got if isinstance(got, tuple) else (got, SHOW)
        first, second = files if isinstance(files, list) else ({}, files)
        tree = os.path.join(scratch, 'tree')
        shutil.rmtree(tree, ignore_errors=True)
        shutil.copytree(base, tree, symlinks=True)
        write(tree, first)
        git(tree, 'add', '-A')
        git(tree, 'commit', '-q', '--allow-empty', '-m', 'first')
        git(tree, 'tag', 'first')
        over = os.path.join(scratch, 'over')
        shutil.rmtree(over, ignore_errors=True)
        os.mkdir(over)
        write(over, {p: t for p, t in second.items() if t is not None})
        bare = os.path.join(scratch, 'bare')
        if 'overlay' in commands:
            shutil.rmtree(bare, ignore_errors=True)
            shutil.copytree(tree, bare, symlinks=True)
        write(tree, second)
        git(tree, 'add', '-A')
        git(tree, 'commit', '-q', '--allow-empty', '-m', 'second')
        if OPTIONS.keep:
            shutil.rmtree(OPTIONS.keep, ignore_errors=True)
            shutil.copytree(tree, OPTIONS.keep, symlinks=True)
        for c in commands:
            if (n, c) in done or time.monotonic() - begun > OPTIONS.until: continue
            words = {'validate': ['validate'], 'json': ['validate', '--format', 'json'], 'sarif': ['validate', '--format', 'sarif'], 'markdown': ['validate', '--format', 'markdown'],
                     'overlay': ['validate', '--overlay', over, '--format', 'json'], 'since': ['validate', '--since', 'first'], 'overlaymd': ['validate', '--overlay', over, '--format', 'markdown'],
                     'show': ['show', profile], 'why': ['why', profile, 'wall.outer.speed'], 'list': ['list', 'profiles'], 'changelog': ['changelog', 'first', 'HEAD'],
                     'changelogjson': ['changelog', 'first', 'HEAD', '--format', 'json'],
                     'build': ['build', '--out', os.path.join(scratch, 'built')]}[c]
            where = bare if c in ('overlay', 'overlaymd') else tree
            r = measure([OPTIONS.program, '-C', where] + words, scratch, scratch, OPTIONS.timeout)
            shutil.rmtree(os.path.join(scratch, 'built'), ignore_errors=True)
            r.update(attack=n, command=c, verdict=verdict(r))
            results.append(r)
            if OPTIONS.store:
                with open(OPTIONS.store, 'a') as sink: sink.write(json.dumps(r) + '\n')
            print('%-28s %-10s %8.2f %8.2f %8.0f %5s %9.0f  %s' % (n, c, r['seconds'], r['cpu'], r['mb'], r['code'] if r['code'] is not None else '-', r['printed'] / 1000, r['verdict']), flush=True)
      except AssertionError as e:
        print(n, 'is too large:', e)
      if True:
        if OPTIONS.json:
            with open(OPTIONS.json, 'w') as f: json.dump(results, f, indent=1)
    shutil.rmtree(scratch, ignore_errors=True)


if __name__ == '__main__':
    main()
