#!/bin/bash
# Installs or upgrades a site on bare Debian 12 or later, as root: PostgreSQL, Redis, Caddy in
# front, and the units of `deploy/systemd/`. What is there already is kept; run it again from a
# newer version's folder to upgrade. docs/running-a-site.md says the rest.
#
#   deploy/install.sh https://training.example.org              a certificate by ACME, for a public name
#   deploy/install.sh https://training.example.org internal     one of Caddy's own authority
#   deploy/install.sh https://training.example.org CERT KEY     one of yours, both as PEM files
set -euo pipefail
umask 027

source=$(cd "$(dirname "$0")/.." && pwd)
code=/opt/jointworthy
data=/var/lib/jointworthy
settings=/etc/jointworthy
back_ups=/var/backups/jointworthy

stop() {
    echo "$1" >&2
    exit 1
}

[ "$(id -u)" = 0 ] || stop "Run this as root: it installs packages and makes a user."
[ -d /run/systemd/system ] || stop "systemd does not run here, and its units would start nothing."
[ $# -ge 1 ] && [ $# -le 3 ] || stop "Say the address that people type: deploy/install.sh https://training.example.org"
address=${1%/}
host=${address#https://}
case $host in
    "$address" | "" | *[!A-Za-z0-9.-]*) stop "$1 is not an https address without port and path, such as https://training.example.org." ;;
esac
case $#:${2-} in
    1:) tls= ;;
    2:internal) tls="tls internal" ;;
    3:*)
        [ -r "$2" ] && [ -r "$3" ] || stop "$2 or $3 cannot be read."
        tls="tls $(realpath "$2") $(realpath "$3")" ;;
    *) stop "After the address comes nothing, internal, or a certificate and its key." ;;
esac

export DEBIAN_FRONTEND=noninteractive
apt-get update -qq
apt-get install -y -qq --no-install-recommends caddy fonts-noto-core fonts-noto-cjk postgresql \
    postgresql-client python3 python3-venv redis-server >/dev/null

getent passwd jointworthy >/dev/null ||
    adduser --system --quiet --group --home "$data" --no-create-home --shell /usr/sbin/nologin jointworthy
install -d -o jointworthy -g jointworthy -m 750 "$data" "$back_ups"
install -d -o root -g jointworthy -m 750 "$settings"

# The code is root's, so that no process of the site can write what it runs.
install -d -m 755 "$code"
if [ "$source" != "$code" ]; then
    for each in $(sed -n 's/^!//p' "$source/.dockerignore") .dockerignore deploy; do
        rm -rf "${code:?}/$each"
        cp -R "$source/$each" "$code/$each"
    done
fi
(cd "$code" && umask 022 && python3 config/install.py requirements.txt)
find "$code" -path "$code/.venv" -prune -o -name __pycache__ -prune -exec rm -rf {} +
chmod -R u=rwX,go=rX "$code"
# No process can write compiled modules later. Some that come with Python's packages do not compile.
(umask 022 && "$code/.venv/bin/python" -m compileall -q -j 0 "$code" >/dev/null || true)

systemctl enable --now --quiet postgresql redis-server
for secret in secret_key database_password; do
    python3 "$code/config/secret_key.py" "$settings/$secret"
done
password=$(cat "$settings/database_password")
until runuser -u postgres -- psql -qc 'SELECT 1' >/dev/null 2>&1; do sleep 1; done
runuser -u postgres -- psql -qtAc "SELECT 1 FROM pg_roles WHERE rolname = 'jointworthy'" | grep -q 1 ||
    runuser -u postgres -- psql -q >/dev/null <<< "CREATE ROLE jointworthy LOGIN PASSWORD '$password'"
runuser -u postgres -- psql -qtAc "SELECT 1 FROM pg_database WHERE datname = 'jointworthy'" | grep -q 1 ||
    runuser -u postgres -- createdb --owner jointworthy --template template0 --encoding UTF8 --locale C.UTF-8 jointworthy
port=$(runuser -u postgres -- psql -qtAc 'SHOW port')
printf 'postgresql://jointworthy:%s@127.0.0.1:%s/jointworthy\n' "$password" "$port" > "$settings/database_url"

# What is set here by hand stays; the address is what was given last.
if [ ! -e "$settings/environment" ]; then
    cat > "$settings/environment" <<ENVIRONMENT
# Settings of the site, a name and a value a line; docs/running-a-site.md lists them all.
# After a change: systemctl restart jointworthy.target
PUBLIC_URL=$address
DATA_DIR=$data
SECRET_KEY_FILE=$settings/secret_key
DATABASE_URL_FILE=$settings/database_url
CELERY_BROKER_URL=redis://127.0.0.1:6379/0
CACHE_URL=redis://127.0.0.1:6379/1
WEB_WORKERS=4
EMAIL_URL=
MAIL_FROM=
BACK_UP_DIR=$back_ups
BACK_UP_URL=
BACK_UP_KEY=
ENVIRONMENT
fi
sed -i "s|^PUBLIC_URL=.*|PUBLIC_URL=$address|" "$settings/environment"
chown root:jointworthy "$settings"/*
chmod 640 "$settings"/*

served=$(sed -n 's/^BIND=//p' "$settings/environment")
cat > /etc/caddy/jointworthy.caddy <<CADDY
# Written by deploy/install.sh. Caddy tells the site by X-Forwarded-For and X-Forwarded-Proto who
# asks and how, and lets nobody else tell it.
$host {
	${tls:-# A certificate comes by ACME.}
	request_body {
		max_size 512MB
	}
	reverse_proxy ${served:-127.0.0.1:8000}
}
CADDY
chmod 644 /etc/caddy/jointworthy.caddy
grep -qxF 'import /etc/caddy/jointworthy.caddy' /etc/caddy/Caddyfile ||
    printf '\nimport /etc/caddy/jointworthy.caddy\n' >> /etc/caddy/Caddyfile

install -m 644 "$code"/deploy/systemd/* /etc/systemd/system/
install -m 755 "$code/deploy/jointworthy-manage" /usr/local/sbin/jointworthy-manage
systemctl daemon-reload
systemctl enable --quiet caddy jointworthy.target
systemctl restart jointworthy-prepare.service ||
    stop "The database is not ready: journalctl -u jointworthy-prepare says why."
systemctl restart jointworthy.target
systemctl reload-or-restart caddy

cat <<SAID
The site is served at $address. If it is new, make its administrator:
  jointworthy-manage make_administrator --help
SAID
