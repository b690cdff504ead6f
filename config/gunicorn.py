"""How gunicorn serves the site: `gunicorn -c python:config.gunicorn`.

One process with several threads by default. SQLite has one writer at a time anyway, and the
count of failed sign-ins then needs no cache server. With PostgreSQL and `CACHE_URL`, set
`WEB_WORKERS` to about twice the number of cores.
"""

from . import env

wsgi_app = "config.wsgi:application"
bind = env.text("BIND", "127.0.0.1:8000", about="Address and port that the web process listens on.")
workers = env.whole_number("WEB_WORKERS", 1, least=1, about="Web processes.")
threads = env.whole_number("WEB_THREADS", 8, least=1, about="Threads of each web process.")
worker_class = "gthread"
timeout = 120  # A class's photographs over a slow wireless network take their time.
graceful_timeout = 10
errorlog = "-"
accesslog = None
loglevel = "warning"
control_socket_disable = True
