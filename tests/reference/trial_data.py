"""A published trial with outcomes missing, retyped with its source.

Proudfoot et al. 2003, Psychol Med 33:217: a depression score before treatment and 2, 3, 5 and 8
months later of 100 people; Everitt & Hothorn print it in A Handbook of Statistical Analyses
Using R (where, is written from memory). A person is: drug taken (d) or not (n); ill for longer (l) or shorter (s)
than six months; treated (t) or care as usual (u); the five scores, - where one is missing.
"""

import numpy as np

PEOPLE = """
n l u 29 2 2 - - | d l t 32 16 24 17 20 | d s u 25 20 - - - | n l t 21 17 16 10 9
d l t 26 23 - - - | d s t 7 0 0 0 0 | d s u 17 7 7 3 7 | n l u 20 20 21 19 13
d s t 18 13 14 20 11 | d l t 20 5 5 8 12 | n l u 30 32 24 12 2 | d s t 49 35 - - -
n l u 26 27 23 - - | d l u 30 26 36 27 22 | d l t 23 13 13 12 23 | n s u 16 13 3 2 0
n l t 30 30 29 - - | n s t 13 8 8 7 6 | n l u 37 30 33 31 22 | d s t 35 12 10 8 10
n l t 21 6 - - - | n s u 26 17 17 20 12 | n l u 29 22 10 - - | n l u 20 21 - - -
n l u 33 23 - - - | n l t 19 12 13 - - | d s u 12 15 - - - | d l u 47 36 49 34 -
d l t 36 6 0 0 2 | n s t 10 8 6 3 3 | n s u 27 7 15 16 0 | n s t 18 10 10 6 8
d s t 11 8 3 2 15 | d s t 6 7 - - - | d l t 44 24 20 29 14 | n s u 38 38 - - -
n s u 21 14 20 1 8 | d l u 34 17 8 9 13 | d s t 9 7 1 - - | d l u 38 27 19 20 30
d s t 46 40 - - - | n s u 20 19 18 19 18 | d l u 17 29 2 0 0 | n l t 18 20 - - -
d l t 42 1 8 10 6 | n s t 30 30 - - - | d s t 33 27 16 30 15 | n s t 12 1 0 0 -
d s t 2 5 - - - | n l u 36 42 49 47 40 | n s u 35 30 - - - | n s t 23 20 - - -
n l u 31 48 38 38 37 | d s t 8 5 7 - - | d s u 23 21 26 - - | d s t 7 7 5 4 0
n s u 14 13 14 - - | n s u 40 36 33 - - | d s t 23 30 - - - | n l t 14 3 - - -
n l u 22 20 16 24 16 | n l u 23 23 15 25 17 | n s u 15 7 13 13 - | n l u 8 12 11 26 -
n l t 12 18 - - - | n l u 7 6 2 1 - | d s u 17 9 3 1 0 | d s t 33 18 16 - -
n s u 27 20 - - - | n s t 27 30 - - - | n s t 9 6 10 1 0 | n l t 40 30 12 - -
n l u 11 8 7 - - | n s u 9 8 - - - | n l u 14 22 21 24 19 | d l t 28 9 20 18 13
n l t 15 9 13 14 10 | d l t 22 10 5 5 12 | n s u 23 9 - - - | n l u 21 22 24 23 22
n l u 27 31 28 22 14 | d l t 14 15 - - - | n l u 10 13 12 8 20 | d s u 21 9 6 7 1
d l t 46 36 53 - - | n l t 36 14 7 15 15 | d l t 23 17 - - - | d l u 35 0 6 0 1
d s t 33 13 13 10 8 | n s t 19 4 27 1 2 | n s u 16 - - - - | d s t 30 26 28 - -
d s t 17 8 7 12 - | n l t 19 4 3 3 3 | n l t 16 11 4 2 3 | d l t 16 16 10 10 8
d s u 28 - - - - | n l t 11 22 9 11 11 | n s u 13 5 5 0 6 | d s u 43 - - - -
"""


def depression_trial():
    """Return scores after treatment (100, 4), score before, and 1/0 for treated, drug, longer."""
    people = [person.split() for person in PEOPLE.replace("\n", "|").split("|") if person.strip()]
    scores = np.array([[np.nan if v == "-" else float(v) for v in p[3:]] for p in people])
    codes = np.array([[p[2] == "t", p[0] == "d", p[1] == "l"] for p in people], dtype=float)
    return scores[:, 1:], scores[:, 0], codes
