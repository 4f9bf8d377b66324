#!/usr/bin/env python3
"""Reference motion of a two-axis gimbal, independent of the Rust code.

Newton-Euler with body Jacobians (Kane's method) on full 3 x 3 rotation matrices: for each body the
velocity of its centre of gravity and its angular velocity are Jv qdot and Jw qdot; force and moment
balance is projected on the Jacobians. No Lagrangian and no hand-derived mass matrix is used.
Integrated with scipy's DOP853 at rtol 1e-11, atol 1e-13.

Run in this folder:  python3 gimbal_reference.py   (writes gimbal_reference.csv)
"""

import csv
import tomllib

import numpy as np
from scipy.integrate import solve_ivp

GRAVITY = np.array([0.0, 0.0, 9.80665])  # z is down
LENGTH_S = 5.0
SAMPLE_S = 0.01


def tensor(entries):
    xx, yy, zz, xy, xz, yz = entries
    return np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]])


def about_y(a):
    c, s = np.cos(a), np.sin(a)
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


def about_x(a):
    c, s = np.cos(a), np.sin(a)
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])


def derivative(case):
    bodies = [
        (case["frame_mass_kg"], np.array(case["frame_cg_m"]), tensor(case["frame_inertia_kg_m2"]), False),
        (case["inner_mass_kg"], np.array(case["inner_cg_m"]), tensor(case["inner_inertia_kg_m2"]), True),
    ]
    spring = np.array(case["spring_n_m_per_rad"])
    viscous = np.array(case["viscous_n_m_s_per_rad"])

    def f(_, x):
        q, v = x[:2], x[2:]
        pitch, roll = about_y(q[0]), about_x(q[1])
        e_pitch = np.array([0.0, 1.0, 0.0])
        e_roll = pitch @ np.array([1.0, 0.0, 0.0])
        # The roll axis is carried by the frame: its rate of change is omega_frame x e_roll.
        e_roll_dot = np.cross(v[0] * e_pitch, e_roll)
        matrix = np.zeros((2, 2))
        force = -spring * q - viscous * v
        for mass, cg, inertia, carried in bodies:
            turn = pitch @ roll if carried else pitch
            r = turn @ cg
            world = turn @ inertia @ turn.T
            axes = [e_pitch, e_roll if carried else np.zeros(3)]
            jw = np.column_stack(axes)
            jv = np.column_stack([np.cross(a, r) for a in axes])
            omega = jw @ v
            # Accelerations that remain with qddot = 0.
            alpha0 = e_roll_dot * v[1] if carried else np.zeros(3)
            a0 = np.cross(alpha0, r) + np.cross(omega, np.cross(omega, r))
            matrix += mass * jv.T @ jv + jw.T @ world @ jw
            force += jv.T @ (mass * (GRAVITY - a0)) - jw.T @ (world @ alpha0 + np.cross(omega, world @ omega))
        return np.concatenate([v, np.linalg.solve(matrix, force)])

    return f


def main():
    with open("gimbal_cases.toml", "rb") as file:
        cases = tomllib.load(file)["case"]
    with open("gimbal_reference.csv", "w", newline="") as file:
        out = csv.writer(file)
        out.writerow(["case", "time_s", "pitch_rad", "roll_rad"])
        for case in cases:
            times = np.arange(round(LENGTH_S / SAMPLE_S) + 1) * SAMPLE_S
            start = case["start_rad"] + case["start_rad_per_s"]
            run = solve_ivp(derivative(case), (0.0, LENGTH_S), start, "DOP853", times, rtol=1e-11, atol=1e-13)
            again = solve_ivp(derivative(case), (0.0, LENGTH_S), start, "Radau", [LENGTH_S], rtol=1e-9, atol=1e-11)
            assert run.success and again.success, case["name"]
            gap = np.abs(run.y[:2, -1] - again.y[:2, -1]).max()
            print(case["name"], "largest angles", np.abs(run.y[:2]).max(axis=1), "against Radau", gap)
            for t, pitch, roll in zip(run.t, run.y[0], run.y[1]):
                out.writerow([case["name"], f"{t:.2f}", f"{pitch:.12f}", f"{roll:.12f}"])


if __name__ == "__main__":
    main()
