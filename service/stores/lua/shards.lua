-- What happens to jobs and shards, in front of the commands of `jobs.lua`.
--
-- KEYS[1]: what all keys begin with. ARGV: the command, how often a shard may be begun, what is said
-- of one that was begun so often and never ended, how many jobs are remembered, then what the
-- command takes. Times are whole microseconds since 1970 by this server's clock.
--
-- job:KEY      hash, what a job is; its number `leased` counts the leases that are out
-- askers:KEY   sorted set of those who want it, in the order in which they came
-- open:KEY     sorted set of the numbers of its open shards
-- shards:KEY   hash: e:N epoch, a:N attempts that came to nothing, p:N payload of this stage's shard N
-- results:KEY  hash, what the parts of this stage have given, by number
-- earlier:KEY  the same of the stage before, for the plan
-- wants:ASKER  set of the open jobs of one who asks
-- spent:ASKER  hash, microseconds of computing by minute
-- ready        sorted set of the jobs that have open shards, best first; see `rescore`
-- waits        sorted set of open shards, KEY|N, by when they were opened
-- leases       sorted set of leased shards, KEY|N, by when the lease runs out
-- held         hash, KEY|N to the lease's token; `tokens` is the way back
-- leased       hash, asker to the leases of all the jobs wanted
-- jobs         set of the jobs that are not over
-- over         sorted set of those that are, by when they ended
-- workers      sorted set of workers, by how long they are believed to be there
-- counters     hash: serial, lapsed, failed

local P, MOST_ATTEMPTS, LOST, MOST_JOBS = KEYS[1], tonumber(ARGV[2]), ARGV[3], tonumber(ARGV[4])
local call = redis.call
local clock = call('TIME')
local now = tonumber(clock[1]) * 1000000 + tonumber(clock[2])

local MINUTE = 60 * 1000000
-- The order of `ready` is one number below 2^53: leases (10 bits), doublings (6), age (36).
local MOST_LEASES, LEASES, DOUBLINGS = 1023, 2 ^ 42, 2 ^ 36

local function of(key, ...)
    return call('HMGET', P .. 'job:' .. key, ...)
end

local function number_of(key, field)
    return tonumber(call('HGET', P .. 'job:' .. key, field) or '0')
end

local function set(key, ...)
    call('HSET', P .. 'job:' .. key, ...)
end

local function seen(key)
    call('HINCRBY', P .. 'job:' .. key, 'version', 1)
end

local function askers(key)
    return call('ZRANGE', P .. 'askers:' .. key, 0, -1)
end

local function member(key, number)
    return key .. '|' .. string.format('%d', number)
end

local function parts_of(name)
    local key, number = string.match(name, '^(.*)|(%d+)$')
    return key, tonumber(number)
end

-- Put a job in its place among those that are ready. One that is stopping comes first: it only has
-- to be put together. Then who has the fewest leases, then the job on which the least was spent, in
-- doublings of a second, then the older one.
local function rescore(key)
    if call('ZCARD', P .. 'open:' .. key) == 0 then
        call('ZREM', P .. 'ready', key)
        return
    end
    local fewest
    for _, asker in ipairs(askers(key)) do
        local leases = tonumber(call('HGET', P .. 'leased', asker) or '0')
        if not fewest or leases < fewest then
            fewest = leases
        end
    end
    local job = of(key, 'spent', 'serial', 'state')
    fewest = job[3] == 'stopping' and -1 or math.min(fewest or 0, MOST_LEASES)
    local seconds = tonumber(job[1]) / 1000000
    local doublings = 0
    if seconds >= 1 then
        local _, power = math.frexp(seconds)
        doublings = math.min(power, 63)
    end
    local score = fewest * LEASES + doublings * DOUBLINGS + tonumber(job[2])
    call('ZADD', P .. 'ready', score, key)
end

-- Give an asker so many leases more, or less, and put the jobs that are wanted in their places.
local function charge(asker, by, touched)
    if by == 0 then
        return
    end
    if call('HINCRBY', P .. 'leased', asker, by) <= 0 then
        call('HDEL', P .. 'leased', asker)
    end
    for _, key in ipairs(call('SMEMBERS', P .. 'wants:' .. asker)) do
        touched[key] = true
    end
end

local function leased(key, by)
    local touched = {[key] = true}
    call('HINCRBY', P .. 'job:' .. key, 'leased', by)
    for _, asker in ipairs(askers(key)) do
        charge(asker, by, touched)
    end
    for other in pairs(touched) do
        rescore(other)
    end
end

local function spend(key, spent)
    if spent <= 0 then
        return
    end
    call('HINCRBY', P .. 'job:' .. key, 'spent', spent)
    local minute = string.format('%d', math.floor(now / MINUTE))
    for _, asker in ipairs(askers(key)) do
        call('HINCRBY', P .. 'spent:' .. asker, minute, spent)
        call('EXPIRE', P .. 'spent:' .. asker, 3720)
    end
    rescore(key)
end

-- Return what an asker's jobs took within an hour, and how long until the oldest of it is forgotten.
local function spent_lately(asker)
    local first = math.floor(now / MINUTE) - 60
    local sum, oldest = 0, math.huge
    local all = call('HGETALL', P .. 'spent:' .. asker)
    for at = 1, #all, 2 do
        if tonumber(all[at]) > first then
            sum = sum + tonumber(all[at + 1])
            oldest = math.min(oldest, tonumber(all[at]))
        else
            call('HDEL', P .. 'spent:' .. asker, all[at])
        end
    end
    return sum, oldest == math.huge and 0 or (oldest + 60) * MINUTE - now
end

local function unlease(name)
    local key = parts_of(name)
    local token = call('HGET', P .. 'held', name)
    call('ZREM', P .. 'leases', name)
    call('HDEL', P .. 'held', name)
    if token then
        call('HDEL', P .. 'tokens', token)
    end
    leased(key, -1)
end

local function open(key, number)
    call('ZADD', P .. 'open:' .. key, number, string.format('%d', number))
    call('ZADD', P .. 'waits', now, member(key, number))
end

local function drop_open(key)
    for _, number in ipairs(call('ZRANGE', P .. 'open:' .. key, 0, -1)) do
        call('ZREM', P .. 'waits', key .. '|' .. number)
    end
    call('DEL', P .. 'open:' .. key)
end

-- Take all of a job away that is only there while it is not over.
local function clear(key)
    drop_open(key)
    for _, name in ipairs(call('ZRANGE', P .. 'leases', 0, -1)) do
        if parts_of(name) == key then
            unlease(name)
        end
    end
    call('ZREM', P .. 'ready', key)
    call('SREM', P .. 'jobs', key)
    for _, asker in ipairs(askers(key)) do
        call('SREM', P .. 'wants:' .. asker, key)
    end
    call('DEL', P .. 'shards:' .. key, P .. 'results:' .. key, P .. 'earlier:' .. key)
end

local function make_room()
    local more = call('ZCARD', P .. 'over') + call('SCARD', P .. 'jobs') - MOST_JOBS
    if more > 0 then
        for _, key in ipairs(call('ZRANGE', P .. 'over', 0, more - 1)) do
            call('DEL', P .. 'job:' .. key, P .. 'askers:' .. key)
            call('ZREM', P .. 'over', key)
        end
    end
end

local function finish(key, state, outcome, reason)
    clear(key)
    call('ZADD', P .. 'over', now, key)
    set(
        key, 'state', state, 'spec', '', 'outcome', outcome, 'error', reason, 'ended', now
    )
    if state == 'failed' then
        call('HINCRBY', P .. 'counters', 'failed', 1)
    end
    seen(key)
end

local function next_plan(key)
    drop_open(key)
    call('DEL', P .. 'shards:' .. key, P .. 'earlier:' .. key)
    if call('EXISTS', P .. 'results:' .. key) == 1 then
        call('RENAME', P .. 'results:' .. key, P .. 'earlier:' .. key)
    end
    call('HINCRBY', P .. 'job:' .. key, 'stage', 1)
    set(key, 'shards', 0, 'recorded', 0)
    open(key, 0)
    rescore(key)
    seen(key)
end

-- Open the next plan if nothing more comes of this stage; return whether it did.
local function settle(key)
    local job = of(key, 'state', 'shards', 'recorded', 'leased')
    local state = job[1]
    local whole = tonumber(job[2]) > 0 and job[2] == job[3]
    if state == 'stopping' then
        whole = true
    elseif state ~= 'running' then
        return false
    end
    if whole and call('ZCARD', P .. 'open:' .. key) == 0 and tonumber(job[4]) == 0 then
        next_plan(key)
        return true
    end
    return false
end

-- Open a shard again after a lease, or drop it where nobody wants the job any more.
local function reopen(key, number)
    if number > 0 and call('HGET', P .. 'job:' .. key, 'state') == 'stopping' then
        settle(key)
        return
    end
    call('HINCRBY', P .. 'shards:' .. key, 'e:' .. number, 1)
    open(key, number)
    rescore(key)
end

local function failed(key, number, reason)
    local attempts = call('HINCRBY', P .. 'shards:' .. key, 'a:' .. number, 1)
    if attempts >= MOST_ATTEMPTS then
        finish(key, 'failed', '', reason)
    else
        reopen(key, number)
    end
end

local function lapse()
    for _, name in ipairs(call('ZRANGEBYSCORE', P .. 'leases', '-inf', now)) do
        -- One before it may have ended the job, and this lease with it.
        if call('ZSCORE', P .. 'leases', name) then
            local key, number = parts_of(name)
            unlease(name)
            call('HINCRBY', P .. 'counters', 'lapsed', 1)
            failed(key, number, LOST)
        end
    end
end

local function take(key, number, lasting, token)
    local name = member(key, number)
    call('ZREM', P .. 'open:' .. key, number)
    call('ZREM', P .. 'waits', name)
    call('ZADD', P .. 'leases', now + lasting, name)
    call('HSET', P .. 'held', name, token)
    call('HSET', P .. 'tokens', token, name)
    if call('HGET', P .. 'job:' .. key, 'state') == 'waiting' then
        set(key, 'state', 'running', 'began', now)
        seen(key)
    end
    leased(key, 1)
end
