"""The words by which foreign headers and cells are known. Only what is unmistakable is among them.

Words are compared without case, accents and punctuation. Months are those of CLDR for the languages
here (`tests/fitting/importing/test_words.py` holds them against it).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from typing import Final


def folded(text: str) -> str:
    """Return a text in lower case, without accents, its words parted by single blanks."""
    plain = unicodedata.normalize("NFKD", text.replace("ø", "o").replace("Ø", "O")).casefold()
    letters = "".join(c for c in plain if not unicodedata.combining(c))
    return re.sub(r"[\W_]+", " ", letters).strip()


def _set(words: str) -> frozenset[str]:
    return frozenset(folded(word) for word in words.split(","))


# Field -> headers that mean it, and nothing else.
HEADERS: Final[Mapping[str, frozenset[str]]] = {
    "date": _set(
        "date,day,datum,tag,fecha,data,dato,dag,jour,dia,giorno,date time,datetime,date and time,"
        "timestamp,time stamp,measured at,measured on,recorded at,recorded on,measurement date,"
        "reading date,session date,training date,calendar date,start,start time,start date,started,"
        "morning,zeitstempel,messdatum,fecha y hora,date et heure,datum und zeit,datum en tijd,"
        "dzien,"
        "paiva,pvm"
    ),
    "sensor": _set(
        "sensor,device,strap,sensor name,recorder,recorded with,gerat,messgerat,capteur,appareil,"
        "dispositivo,apparaat,enhet"
    ),
    "note": _set(
        "note,notes,comment,comments,remark,remarks,bemerkung,bemerkungen,kommentar,notiz,notizen,"
        "remarque,remarques,commentaire,nota,notas,comentario,comentarios,observaciones,"
        "osservazioni,"
        "opmerking,opmerkingen,anmerkung,anmerkungen,anteckning"
    ),
    "type": _set(
        "type,session,session type,training,training session,training type,workout,workout type,"
        "activity,activity type,exercise,sport,einheit,trainingseinheit,trainingsart,aktivitat,"
        "seance,entrainement,type de seance,activite,sesion,entrenamiento,tipo de sesion,actividad,"
        "allenamento,sessione,attivita,treino,sessao,traening,traning,trening,trainingstype,"
        "kind of session,what i did"
    ),
    "dose": _set("dose,dosis,dosi,relative dose,dose relative,relativ dose"),
    "amount": _set(
        "duration,minutes,min,mins,time min,duration min,dauer,minuten,duree,duracion,minutos,"
        "durata,"
        "minuti,duracao,duur,varighet,varighed,distance,km,kilometres,kilometers,distanz,strecke,"
        "distancia,distanza,afstand,load,training load,volume,umfang,length,hours"
    ),
    "intervention": _set(
        "intervention,interventions,measure,measures,recovery measure,recovery measures,recovery,"
        "recovery method,massnahme,massnahmen,erholungsmassnahme,regeneration,recuperation,"
        "recuperacion,recupero,herstel,aterhamtning"
    ),
    "stressor": _set(
        "stressor,stressors,stressoren,stresseur,stresseurs,estresor,estresores,other stress,"
        "life stress,other strain,storfaktor,storfaktoren,events,incident"
    ),
}

# Columns of yes and no whose header is the label itself.
FLAGS: Final[Mapping[str, frozenset[str]]] = {
    "stressor": _set(
        "alcohol,alkohol,alcool,drinks,illness,ill,sick,sickness,fever,cold,krank,krankheit,fieber,"
        "malade,maladie,enfermo,enfermedad,travel,travelling,flight,reise,voyage,viaje,viaggio,"
        "bad night,poor sleep,bad sleep,short night,late night,jet lag,nightshift,night shift,"
        "nachtschicht,schlechte nacht"
    ),
    "intervention": _set(
        "ice bath,cold bath,cold water,cold plunge,cold shower,river dip,sauna,massage,compression,"
        "eisbad,kaltes wasser,kaltbad,bain froid,bain glace,bano frio,hot bath,nap,stretching,"
        "foam rolling,breathing,meditation,mittagsschlaf,beet juice"
    ),
}

# A reading is RMSSD: its name decides, or a name that is often used for it, which is then said.
RMSSD: Final = re.compile(r"\br ?mssd\d*\b|\b(ln|log) ?r ?mssd\b|mssd\b")
LIKELY_RMSSD: Final = _set(
    "hrv,heart rate variability,nightly hrv,night hrv,overnight hrv,morning hrv,sleep hrv,hfv,"
    "herzratenvariabilitat,herzfrequenzvariabilitat,vfc,variabilite de la frequence cardiaque,vrc,"
    "variabilidad de la frecuencia cardiaca,hrv night,hrv ms,hrv value,reading,readings"
)
# What stands beside readings and is none: other statistics, smoothed or derived ones.
NO_READING: Final = re.compile(
    r"\b(sdnn|sdann|pnn ?\d*|lf|hf|vlf|cv|coefficient|score|index|rank|baseline|average|avg|mean|"
    r"rolling|moving|7 ?d(ay)?s?|week(ly)?|goal|target|min|max|low|high|range|status|change|delta|"
    r"trend|durchschnitt|schnitt|mittel(wert)?|moyenne|media|normal)\b"
)

UNITS: Final[Mapping[str, str]] = {
    "ms": "ms", "msec": "ms", "msecs": "ms", "millisecond": "ms", "milliseconds": "ms",
    "millisekunden": "ms", "milisegundos": "ms", "millisecondes": "ms", "s": "s", "sec": "s",
    "secs": "s", "seconds": "s", "sekunden": "s", "secondes": "s", "segundos": "s", "ln": "ln",
    "ln ms": "ln", "log": "ln", "log ms": "ln",
}  # fmt: skip

MISSING: Final = frozenset(
    [
        *(
            "",
            "-",
            "--",
            "\u2013",
            "\u2014",
            ".",
            "/",
            "?",
            "n/a",
            "na",
            "#n/a",
            "nan",
            "null",
            "none",
        ),
        *("nil", "k.a.", "k. a.", "n. a.", "n.a.", "missing", "no data", "keine", "fehlt", "nd"),
        *("#div/0!", "#value!", "#wert!"),
    ]
)
REST: Final = _set(
    "rest,rest day,day off,off,no training,none,nothing,ruhe,ruhetag,pause,frei,kein training,"
    "repos,"
    "jour de repos,descanso,riposo,rust,rustdag,hvile,hviledag,vila,vilodag,folga,0,no,nein"
)
YES: Final = _set("x,xx,yes,y,true,1,ja,j,oui,o,si,s,sim,sí,wahr,vrai,verdadero,on,done") | {
    "✓",
    "✔",
}
NO: Final = _set("no,n,false,0,nein,non,nao,nej,falsch,faux,falso,off") | {"✗", "✘"}
TOTALS: Final = _set(
    "total,totals,sum,subtotal,mean,average,avg,median,min,max,minimum,maximum,sd,stdev,std,"
    "std dev,"
    "count,n,summe,gesamt,mittel,mittelwert,durchschnitt,schnitt,anzahl,moyenne,somme,"
    "total general,"
    "media,promedio,suma,somma,totale,gemiddelde,totaal,gjennomsnitt,medel,summa,grand total"
)

_MONTHS: Final = (
    "january jan januar janner janvier janv enero ene gennaio gen januari janeiro",
    "february feb februar fevrier fevr febrero febbraio februari fevereiro fev febr",
    "march mar marts marz mars marzo maart marco mrz mrt",
    "april apr avril avr abril abr aprile",
    "may mai mayo maggio mag mei maio maj",
    "june jun juni juin junio giugno giu junho",
    "july jul juli juillet juil julio luglio lug julho",
    "august aug aout agosto ago augustus augusti agu",
    "september sep sept septembre septiembre settembre set setembro",
    "october oct oktober okt octobre octubre ottobre ott outubro out",
    "november nov novembre noviembre novembro",
    "december dec dezember dez decembre diciembre dic dicembre desember des dezembro",
)
MONTHS: Final[Mapping[str, int]] = {
    name: number for number, names in enumerate(_MONTHS, start=1) for name in names.split()
}
