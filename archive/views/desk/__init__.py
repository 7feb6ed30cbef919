"""The archivist's desk: bringing recordings in, cutting them, and writing down people, places, figures and topics."""

from __future__ import annotations

from django.urls import URLPattern

from .bench import urlpatterns as of_bench
from .bring import urlpatterns as of_bringing
from .cut import urlpatterns as of_cutting
from .home import urlpatterns as of_home
from .layers import urlpatterns as of_layers
from .many import urlpatterns as of_many
from .places import urlpatterns as of_places
from .spans import urlpatterns as of_spans
from .things import urlpatterns as of_things
from .uploading import urlpatterns as of_uploads
from .words import urlpatterns as of_words

urlpatterns: list[URLPattern] = [
    *of_home,
    *of_bringing,
    *of_many,
    *of_uploads,
    *of_cutting,
    *of_bench,
    *of_spans,
    *of_words,
    *of_places,
    *of_things,
    *of_layers,
]
