# The site in one image: docker-compose.yml starts it as web process, worker and beat.
FROM python:3.13.15-slim-trixie@sha256:7c61056e61ac89e852de05f3dc6fa51a6dd2181797bceed46aa725dd7cb2cd3b

ENV PYTHONUNBUFFERED=1 DATA_DIR=/data
WORKDIR /site

# Faces for paper: Latin to Devanagari, and Chinese, Japanese, Korean.
RUN apt-get update -qq \
    && apt-get install -y -qq --no-install-recommends fonts-noto-core fonts-noto-cjk \
    && rm -rf /var/lib/apt/lists/*

COPY requirements.txt .
RUN pip install --no-cache-dir --disable-pip-version-check --require-hashes -r requirements.txt

COPY . .
# No process can write compiled modules later: it is not root, and compose mounts the image read-only.
RUN python -m compileall -q -j 0 .
RUN useradd --system --uid 10001 --home-dir /data site && install -d -o site -g site -m 750 /data /back_ups
USER site
VOLUME /data

EXPOSE 8000
ENV BIND=0.0.0.0:8000
CMD ["gunicorn", "-c", "python:config.gunicorn"]
