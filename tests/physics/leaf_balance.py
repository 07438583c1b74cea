#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Writes leaf_balance.h: the water that leaf gives off, from its energy balance solved for the leaf's
temperature.  Run by hand: /usr/bin/python3 leaf_balance.py > leaf_balance.h

Nothing is shared with lib/: saturation by IAPWS-IF97 (region 4, its coefficients checked below against its
Table 35), flux by the definition of a conductance in moles, heat capacity and latent heat as below, root by
scipy.optimize.brentq.  Other constants from memory.
"""
import math

from scipy.optimize import brentq

N = (0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
     0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3)
GAS_J_MOL_K, WATER_KG_MOL = 8.314462618, 0.018015268


def saturation_pa(temp_c):
    kelvin = temp_c + 273.15
    theta = kelvin + N[8] / (kelvin - N[9])
    a = theta * theta + N[0] * theta + N[1]
    b = N[2] * theta * theta + N[3] * theta + N[4]
    c = N[5] * theta * theta + N[6] * theta + N[7]
    return 1e6 * (2 * c / (-b + math.sqrt(b * b - 4 * a * c))) ** 4


def flux_kg_m2_s(temp_c, rh_pct, pressure_pa, vapour_s_m, heat_s_m, skin_s_m):
    """No radiation: what evaporates is paid for by heat from the air."""
    vapour_pa = rh_pct / 100 * saturation_pa(temp_c)
    kelvin = temp_c + 273.15
    heat_j_m3_k = (pressure_pa - vapour_pa) / (287.05 * kelvin) * 1005 + vapour_pa / (461.5 * kelvin) * 1860

    def flux(leaf_c):
        mol_m2_s = pressure_pa / (GAS_J_MOL_K * ((temp_c + leaf_c) / 2 + 273.15)) / (vapour_s_m + skin_s_m)
        return mol_m2_s * (saturation_pa(leaf_c) - vapour_pa) / pressure_pa * WATER_KG_MOL

    def balance(leaf_c):
        return heat_j_m3_k * (temp_c - leaf_c) / heat_s_m - (2500.8e3 - 2360 * leaf_c) * flux(leaf_c)

    return flux(brentq(balance, temp_c - 30, temp_c + 5, xtol=1e-9))


def main():
    # IAPWS-IF97, Table 35.
    for kelvin, pa in ((300, 0.353658941e-2), (500, 0.263889776e1), (600, 0.123443146e2)):
        assert abs(saturation_pa(kelvin - 273.15) / (1e6 * pa) - 1) < 1e-8
    rows = []
    # Skin shut; stomata as open as at spreading; water without a skin.
    for vapour, heat, skin in ((80, 60, 700), (80, 60, 180), (100, 100, 0)):
        for pressure in (101325, 85000):
            for temp in (15, 20, 25, 30):
                for rh in (60, 70, 80, 90):
                    g_m2_h = 3.6e6 * flux_kg_m2_s(temp, rh, pressure, vapour, heat, skin)
                    rows.append(f"\t{{{temp}, {rh}, {pressure}, {vapour}, {heat}, {skin}, {g_m2_h:.5g}}},")
    print(f"""/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Made by leaf_balance.py with SciPy.  Not edited by hand.
 */
#ifndef WT_TESTS_PHYSICS_LEAF_BALANCE_H
#define WT_TESTS_PHYSICS_LEAF_BALANCE_H

/* temp_c, rh_pct, pressure_pa, resistances s/m of air to vapour, of air to heat, of skin; g m-2 h-1 */
static const double leaf_balance[][7] = {{
""" + "\n".join(rows) + """
};

#endif /* WT_TESTS_PHYSICS_LEAF_BALANCE_H */""")


if __name__ == "__main__":
    main()
