# SPDX-License-Identifier: GPL-3.0-or-later
# An invented workshop's past week as a journal: spring air in a hill room with a shower this
# afternoon, and closed loads of earlier days.  All of it is made up for the demonstration.
#   awk -v now=UNIX_S -v day0=UNIX_S_OF_LOCAL_MIDNIGHT -f scenario.awk

function noise() { # sum of three uniform numbers, about normal, sd 0.5
    return rand() + rand() + rand() - 1.5
}

function at_minute(minute, text) { # keeps lines in order of time
    line[minute] = line[minute] sprintf("{\"at\":%d,%s}\n", start + 60 * minute, text)
}

function call(day, hour, method, params) {
    at_minute(1440 * day + int(60 * hour + 0.5),
        sprintf("\"call\":{\"method\":\"%s\",\"params\":{%s}}", method, params))
}

function past_load(day, hour, number, origin, kg, area, grade, weighed_kg, weigh_hour, fix_hour) {
    call(day, hour, "spread", sprintf("\"origin\":\"%s\",\"kg\":%.1f,\"area\":%.1f,\"grade\":\"%s\"",
        origin, kg, area, grade))
    call(day, weigh_hour, "weigh", sprintf("\"load\":%d,\"kg\":%.2f", number, weighed_kg))
    call(day, fix_hour, "fix", sprintf("\"load\":%d", number))
}

BEGIN {
    srand(20260401)
    days = 6
    start = day0 - days * 86400
    number = 0
    for (day = 0; day < days; day++) {
        past_load(day, 8.5, ++number, "creek", 11 + noise(), 11, "young", 9.7 + 0.4 * noise(), 14.5, 18.5)
        if (day % 2)
            past_load(day, 9.5, ++number, "upper-terrace", 14 + noise(), 12, "mixed",
                12.2 + 0.5 * noise(), 16.5, 20.5)
    }
    shower_min = 1440 * days + 14 * 60 + 45
    weather_c = 0
    for (minute = 0; start + 60 * minute <= now; minute += 5) {
        hour = (minute % 1440) / 60
        if (minute % 360 == 0)
            weather_c = 0.8 * weather_c + 0.9 * noise()
        sun = cos((hour - 15) / 24 * 6.283185)
        temp_c = 19 + weather_c + 3.4 * sun + 0.1 * noise()
        rh_pct = 71 - 2 * weather_c - 11 * sun + 0.6 * noise()
        since_min = minute - shower_min
        if (since_min >= 0) {
            wetness = (since_min < 30 ? since_min / 30 : exp(-(since_min - 30) / 240))
            temp_c -= 3.2 * wetness
            rh_pct += (95 - rh_pct) * 0.8 * wetness
        }
        if (rh_pct > 99)
            rh_pct = 99
        at_minute(minute, sprintf("\"topic\":\"shed/north-room\",\"payload\":\"{\\\"temperature\\\":%.1f,\\\"humidity\\\":%.1f}\"",
            temp_c, rh_pct))
        last = minute
    }
    for (minute = 0; minute <= last; minute++)
        if (minute in line)
            printf "%s", line[minute]
    printf "%.1f %.1f\n", temp_c, rh_pct > "/dev/stderr"
}
